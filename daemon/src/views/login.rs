//! The login.
use dashboards::{Button, Field, FieldKind, Form, Part, SheetPage, Tone, say};

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
    let says = |text| Part::Says(vec![text]);
    let warns = |text| Part::Warns(Tone::Warning, vec![text]);
    let mut parts = match said {
        Said::Open => vec![says(say!("login-open"))],
        Said::Inside => vec![says(say!("login-inside"))],
        Said::Nothing => Vec::new(),
        Said::Wrong => vec![warns(say!("login-wrong"))],
        Said::Braked(s) => vec![warns(say!("login-braked", seconds = *s))],
        Said::Full => vec![warns(say!("login-full"))],
    };
    match said {
        Said::Open => {}
        Said::Inside => {
            parts.push(Part::Forms(vec![out("out", say!("login-out")), out("all-out", say!("login-all-out"))]));
        }
        _ => {
            parts.push(Part::Form(enter(then)));
            parts.push(says(say!("login-link")));
        }
    }
    let title = if *said == Said::Inside { say!("login-title-inside") } else { say!("login-title") };
    SheetPage { title, parts, ..SheetPage::default() }
}

fn enter(then: &str) -> Form {
    let password = Field {
        name: "password".to_owned(),
        label: say!("login-password"),
        kind: FieldKind::Password,
        value: String::new(),
        help: say!("login-password-help"),
        needed: true,
    };
    Form {
        url: LOGIN_PATH.to_owned(),
        hidden: vec![("then".to_owned(), then.to_owned())],
        groups: vec![(String::new(), vec![password])],
        buttons: vec![Button { label: say!("login-enter"), sends: None }],
        ..Form::default()
    }
}

fn out(what: &str, label: String) -> Form {
    Form {
        url: LOGIN_PATH.to_owned(),
        hidden: vec![("do".to_owned(), what.to_owned())],
        buttons: vec![Button { label, sends: None }],
        ..Form::default()
    }
}
