//! The login. Every sentence of that page stands in this file.
use dashboards::{Button, Field, FieldKind, Form, Part, SheetPage, Tone};

/// Where that page is.
pub const LOGIN_PATH: &str = "/login";

/// What the page has to say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Said {
    /// No password is set.
    Open,
    /// Nothing yet.
    Nothing,
    /// The password was wrong.
    Wrong,
    /// It was wrong too often: seconds to wait.
    Braked(u64),
    /// Too many log in at once.
    Full,
    /// Whoever asks is logged in.
    Inside,
}

/// The page; its frame is left to the caller. A login leads to `then`.
pub fn login_page(said: &Said, then: &str) -> SheetPage {
    let says = |text: &str| Part::Says(vec![text.to_owned()]);
    let warns = |text: String| Part::Warns(Tone::Warning, vec![text]);
    let mut parts = match said {
        Said::Open => vec![says(
            "No password is set: these pages are reached from this machine only, and everything on them is open.",
        )],
        Said::Inside => {
            vec![says("You are logged in. A login ends after a week without use, and after thirty days in all.")]
        }
        Said::Nothing => Vec::new(),
        Said::Wrong => vec![warns("That was not the password.".to_owned())],
        Said::Braked(s) => vec![warns(format!("It was wrong too often. Try again in {s} s."))],
        Said::Full => vec![warns("Too many are logging in at once. Try again in some seconds.".to_owned())],
    };
    match said {
        Said::Open => {}
        Said::Inside => parts.push(Part::Forms(vec![out("out", "Log out here"), out("all-out", "Log out everywhere")])),
        _ => {
            parts.push(Part::Form(enter(then)));
            parts.push(says("The link in a message works without a login: it answers that one message."));
        }
    }
    let title = if *said == Said::Inside { "Logged in" } else { "Log in" };
    SheetPage { title: title.to_owned(), parts, ..SheetPage::default() }
}

fn enter(then: &str) -> Form {
    let password = Field {
        name: "password".to_owned(),
        label: "Password".to_owned(),
        kind: FieldKind::Password,
        value: String::new(),
        help: "One for the whole shelf. Whoever keeps it set it in the shelf file.".to_owned(),
        needed: true,
    };
    Form {
        url: LOGIN_PATH.to_owned(),
        hidden: vec![("then".to_owned(), then.to_owned())],
        groups: vec![(String::new(), vec![password])],
        buttons: vec![Button { label: "Log in".to_owned(), sends: None }],
        ..Form::default()
    }
}

fn out(what: &str, label: &str) -> Form {
    Form {
        url: LOGIN_PATH.to_owned(),
        hidden: vec![("do".to_owned(), what.to_owned())],
        buttons: vec![Button { label: label.to_owned(), sends: None }],
        ..Form::default()
    }
}
