//! The ways out: what actually carries a message. None of them waits longer than [`SEND_TIMEOUT`].
mod mail;
mod webhook;

pub use webhook::{SIGNATURE_HEADER, TIME_HEADER};
pub(crate) use webhook::{client, hex, is_signed, judged, sign};

use super::desk::Sent;
use super::picture::Picture;
use super::text::{Context, Message};
use crate::intake::Publisher;
use crate::shelf_file::Way;
use crate::snapshot::Told;
use crate::times;
use dashboards::say;
use enclosure::{Priority, Timestamp};
use mail::Post;
use serde_json::{Value, json};
use std::path::Path;
use std::process::Stdio;
use std::time::Duration;
use tokio::io::AsyncWriteExt as _;
use webhook::Webhook;

/// Longest that one attempt may take; a program that takes longer is killed.
pub const SEND_TIMEOUT: Duration = Duration::from_secs(10);
/// Largest token file that is read, bytes.
const TOKEN_MAX: u64 = 4096;
/// Most letters of the other side's reason that are kept.
const REASON_MAX: usize = 200;

/// A way, ready to send.
#[derive(Debug)]
pub(super) enum Carrier {
    Log,
    Command(Vec<String>),
    Webhook(Webhook),
    Mail(Box<Post>),
    Mqtt {
        topic: String,
        publisher: Publisher,
    },
    /// Named in the shelf file, but it cannot be used; the reason.
    Absent(String),
}

/// A message as machines read it.
#[derive(Clone, Debug)]
pub(super) struct Letter {
    pub(super) priority: Priority,
    pub(super) message: Message,
    pub(super) json: Value,
    /// The moment of writing, RFC 3339.
    pub(super) at: String,
    /// The nest as it is believed, for ways that carry pictures.
    pub(super) picture: Option<Picture>,
    /// A page that needs nothing else, and its file's name, for ways that carry files.
    pub(super) page: Option<(String, String)>,
}

impl Letter {
    /// The letter about a change.
    pub(super) fn of(told: &Told, message: Message, context: &Context, link: Option<&str>) -> Self {
        let c = &told.change;
        let mut json = head(c.at.unix_s(), &message, context);
        if let Value::Object(fields) = &mut json {
            fields.insert("nest".to_owned(), json!(c.nest));
            fields.insert("alarm".to_owned(), json!(c.alarm.name()));
            fields.insert("priority".to_owned(), json!(told.priority().name()));
            fields.insert("event".to_owned(), json!(c.event.name()));
            fields.insert("state".to_owned(), json!(c.state.name()));
            for (key, value) in [("probe", &c.probe), ("node", &c.node)] {
                if let Some(value) = value {
                    fields.insert(key.to_owned(), json!(value));
                }
            }
            if let Some(link) = link {
                fields.insert("link".to_owned(), json!(link));
            }
            if let Some(cause) = c.cause {
                fields.insert("cause".to_owned(), json!(cause.name()));
            }
        }
        Self { priority: told.priority(), message, json, at: times::rfc3339(c.at), picture: None, page: None }
    }

    /// A test letter: it has every field, and the alarm is `test`.
    pub(super) fn test(at: Timestamp, message: Message, context: &Context) -> Self {
        Self::apart("test", at, message, context)
    }

    /// A day's report: it has every field, and the alarm is `daily`.
    pub(super) fn daily(at: Timestamp, message: Message, context: &Context) -> Self {
        Self::apart("daily", at, message, context)
    }

    /// A week's report: it has every field, and the alarm is `weekly`.
    pub(super) fn weekly(at: Timestamp, message: Message, context: &Context) -> Self {
        Self::apart("weekly", at, message, context)
    }

    fn apart(what: &str, at: Timestamp, message: Message, context: &Context) -> Self {
        let mut json = head(at.unix_s(), &message, context);
        if let Value::Object(fields) = &mut json {
            for (key, value) in [("nest", Value::Null), ("alarm", json!(what)), ("priority", json!("advice"))] {
                fields.insert(key.to_owned(), value);
            }
            fields.insert("event".to_owned(), json!(what));
        }
        Self { priority: Priority::Advice, message, json, at: times::rfc3339(at), picture: None, page: None }
    }
}

fn head(t: f64, message: &Message, context: &Context) -> Value {
    json!({
        "t": t,
        "shelf": context.shelf(),
        "where": context.place(),
        "title": message.first_line,
        "text": message.text(),
    })
}

impl Carrier {
    /// Whether it can carry a picture.
    pub(super) fn shows(&self) -> bool {
        matches!(self, Self::Mail(_))
    }

    /// The carrier for a way of the shelf file.
    pub(super) fn new(way: &Way, publisher: Option<&Publisher>) -> Self {
        match way {
            Way::Log => Self::Log,
            Way::Command { command } => Self::Command(command.clone()),
            Way::Webhook { url, token_file, secret_file } => {
                match Webhook::new(url, token_file.as_deref(), secret_file.as_deref()) {
                    Ok(webhook) => Self::Webhook(webhook),
                    Err(why) => Self::Absent(why),
                }
            }
            Way::Mqtt { topic } => match publisher {
                Some(publisher) => Self::Mqtt { topic: topic.clone(), publisher: publisher.clone() },
                None => Self::Absent(say!("failed-no-broker")),
            },
            Way::Mail { server, from, to, user, password_file, ca_file } => {
                let boxes = to.iter().map(|a| a.parse()).collect::<Result<Vec<_>, _>>();
                match (reqwest::Url::parse(server), from.parse(), boxes) {
                    (Ok(server), Ok(from), Ok(to)) => {
                        let (user, password_file, ca_file) = (user.clone(), password_file.clone(), ca_file.clone());
                        Self::Mail(Box::new(Post { server, from, to, user, password_file, ca_file }))
                    }
                    (Err(e), ..) => Self::Absent(say!("failed-address", text = server, why = e.to_string())),
                    (_, Err(e), _) | (.., Err(e)) => Self::Absent(say!("failed-mail-address", why = e.to_string())),
                }
            }
        }
    }

    /// Sends, or says why not. Ends within `limit`.
    pub(super) async fn send(&self, letter: &Letter, limit: Duration) -> Sent {
        match tokio::time::timeout(limit, self.try_send(letter)).await {
            Ok(sent) => sent,
            // Dropping the attempt closes the connection, and kills the program.
            Err(_) => Sent::Unreachable(say!("failed-too-long", most = limit.as_secs_f64().to_string())),
        }
    }

    async fn try_send(&self, letter: &Letter) -> Sent {
        match self {
            Self::Log => log(letter),
            Self::Command(command) => run(command, &letter.json).await,
            Self::Webhook(webhook) => webhook.post(&letter.json, &letter.at).await,
            Self::Mail(post) => post.send(letter).await,
            Self::Mqtt { topic, publisher } => publish(publisher, topic, &letter.json).await,
            Self::Absent(why) => Sent::Refused(why.clone()),
        }
    }
}

fn log(letter: &Letter) -> Sent {
    let Message { first_line, body } = &letter.message;
    match letter.priority {
        Priority::Danger => tracing::error!(target: "warmend::message", body, "{first_line}"),
        Priority::Warning => tracing::warn!(target: "warmend::message", body, "{first_line}"),
        Priority::Advice => tracing::info!(target: "warmend::message", body, "{first_line}"),
    }
    Sent::Done
}

/// A token or password from its file, without the line's end.
pub(crate) async fn secret(path: &Path) -> Result<String, String> {
    let text = bounded(path, TOKEN_MAX).await?;
    let text = text.trim();
    if text.is_empty() {
        Err(say!("failed-empty-file", path = path.display().to_string()))
    } else {
        Ok(text.to_owned())
    }
}

/// A small file as text.
pub(super) async fn bounded(path: &Path, most: u64) -> Result<String, String> {
    use tokio::io::AsyncReadExt as _;
    let failed = |e: std::io::Error| say!("failed-read-file", path = path.display().to_string(), why = e.to_string());
    let file = tokio::fs::File::open(path).await.map_err(failed)?;
    let mut text = String::new();
    file.take(most).read_to_string(&mut text).await.map_err(failed)?;
    Ok(text)
}

/// An error with its causes: the outermost alone says only "error sending request".
fn reason(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut next = error.source();
    while let Some(cause) = next {
        text = format!("{text}: {cause}");
        next = cause.source();
    }
    text.chars().take(REASON_MAX).collect()
}

async fn run(command: &[String], json: &Value) -> Sent {
    let Some((program, arguments)) = command.split_first() else {
        return Sent::Refused(say!("failed-no-command"));
    };
    let mut child = match tokio::process::Command::new(program)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::inherit())
        .kill_on_drop(true)
        .spawn()
    {
        Ok(child) => child,
        Err(e) => return Sent::Unreachable(say!("failed-program-start", program = program, why = e.to_string())),
    };
    if let Some(mut input) = child.stdin.take() {
        // A program that does not care for its input may end before it has read it: its exit code counts.
        let _ = input.write_all(json.to_string().as_bytes()).await;
        let _ = input.write_all(b"\n").await;
    }
    match child.wait().await {
        Ok(status) if status.success() => Sent::Done,
        Ok(status) => Sent::Refused(say!("failed-program-ended", program = program, why = status.to_string())),
        Err(e) => Sent::Unreachable(say!("failed-program-waiting", program = program, why = e.to_string())),
    }
}

async fn publish(publisher: &Publisher, topic: &str, json: &Value) -> Sent {
    match publisher.send(topic, json.to_string().into_bytes()) {
        Ok(receipt) => match receipt.await {
            Ok(()) => Sent::Done,
            Err(_) => Sent::Unreachable(say!("failed-unconfirmed")),
        },
        Err(e) => Sent::Unreachable(reason(&e)),
    }
}

#[cfg(test)]
#[path = "ways_tests.rs"]
mod tests;
