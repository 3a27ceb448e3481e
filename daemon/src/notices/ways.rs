//! The ways out: what actually carries a message. None of them waits longer than [`SEND_TIMEOUT`].
use super::desk::Sent;
use super::text::{Context, Message};
use crate::intake::Publisher;
use crate::shelf_file::Way;
use crate::snapshot::Told;
use enclosure::Priority;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;
use tokio::io::AsyncWriteExt as _;

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
    Webhook {
        url: reqwest::Url,
        token_file: Option<PathBuf>,
        client: reqwest::Client,
    },
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
}

impl Letter {
    /// The letter about a change.
    pub(super) fn of(told: &Told, message: Message, context: &Context) -> Self {
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
            if let Some(cause) = c.cause {
                fields.insert("cause".to_owned(), json!(cause.name()));
            }
        }
        Self { priority: told.priority(), message, json }
    }

    /// A test letter: it has every field, and the alarm is `test`.
    pub(super) fn test(at: enclosure::Timestamp, message: Message, context: &Context) -> Self {
        let mut json = head(at.unix_s(), &message, context);
        if let Value::Object(fields) = &mut json {
            for (key, value) in [("nest", Value::Null), ("alarm", json!("test")), ("priority", json!("advice"))] {
                fields.insert(key.to_owned(), value);
            }
            fields.insert("event".to_owned(), json!("test"));
        }
        Self { priority: Priority::Advice, message, json }
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
    /// The carrier for a way of the shelf file.
    pub(super) fn new(way: &Way, publisher: Option<&Publisher>) -> Self {
        match way {
            Way::Log => Self::Log,
            Way::Command { command } => Self::Command(command.clone()),
            Way::Webhook { url, token_file } => match webhook(url) {
                Ok((url, client)) => Self::Webhook { url, token_file: token_file.clone(), client },
                Err(why) => Self::Absent(why),
            },
            Way::Mqtt { topic } => match publisher {
                Some(publisher) => Self::Mqtt { topic: topic.clone(), publisher: publisher.clone() },
                None => {
                    Self::Absent("no broker is connected here; only the running daemon can send this way".to_owned())
                }
            },
            Way::Mail { .. } => Self::Absent(
                "this warmend cannot send mail yet: use a webhook, or a command that hands its input to your mailer"
                    .to_owned(),
            ),
        }
    }

    /// Sends, or says why not. Ends within `limit`.
    pub(super) async fn send(&self, letter: &Letter, limit: Duration) -> Sent {
        match tokio::time::timeout(limit, self.try_send(letter)).await {
            Ok(sent) => sent,
            // Dropping the attempt closes the connection, and kills the program.
            Err(_) => Sent::Unreachable(format!("it took longer than {} s and was cut off", limit.as_secs_f64())),
        }
    }

    async fn try_send(&self, letter: &Letter) -> Sent {
        match self {
            Self::Log => log(letter),
            Self::Command(command) => run(command, &letter.json).await,
            Self::Webhook { url, token_file, client } => post(client, url, token_file.as_deref(), &letter.json).await,
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

fn webhook(url: &str) -> Result<(reqwest::Url, reqwest::Client), String> {
    let url = reqwest::Url::parse(url).map_err(|e| format!("\"{url}\" is no address: {e}"))?;
    // Without a provider the client panics; a second installation does no harm.
    drop(rustls::crypto::ring::default_provider().install_default());
    let client = reqwest::Client::builder()
        .timeout(SEND_TIMEOUT)
        // A redirected POST would become a GET, and carry the token elsewhere.
        .redirect(reqwest::redirect::Policy::none())
        .user_agent(concat!("warmend/", env!("CARGO_PKG_VERSION")))
        .build()
        .map_err(|e| format!("no HTTP client could be made: {e}"))?;
    Ok((url, client))
}

async fn post(client: &reqwest::Client, url: &reqwest::Url, token_file: Option<&Path>, json: &Value) -> Sent {
    let mut request = client.post(url.clone()).json(json);
    if let Some(path) = token_file {
        // Read each time, so that a token can be changed under a running daemon.
        match secret(path).await {
            Ok(token) => request = request.bearer_auth(token),
            Err(why) => return Sent::Unreachable(why),
        }
    }
    match request.send().await {
        Ok(answer) if answer.status().is_success() => Sent::Done,
        Ok(answer) => {
            let status = answer.status();
            let why = format!("{} answered {status}", url.host_str().unwrap_or("the other side"));
            // 408, 425 and 429 ask for another try (RFC 9110, RFC 8470, RFC 6585); 5xx is the server's own trouble.
            if status.is_server_error() || [408, 425, 429].contains(&status.as_u16()) {
                Sent::Unreachable(why)
            } else {
                Sent::Refused(why)
            }
        }
        // Its own text holds the whole address, which may hold a secret.
        Err(e) => Sent::Unreachable(reason(&e.without_url())),
    }
}

/// A token or password from its file, without the line's end.
pub(crate) async fn secret(path: &Path) -> Result<String, String> {
    use tokio::io::AsyncReadExt as _;
    let failed = |e: std::io::Error| format!("reading {}: {e}", path.display());
    let file = tokio::fs::File::open(path).await.map_err(failed)?;
    let mut text = String::new();
    file.take(TOKEN_MAX).read_to_string(&mut text).await.map_err(failed)?;
    Ok(text.trim().to_owned())
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
        return Sent::Refused("the command is empty".to_owned());
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
        Err(e) => return Sent::Unreachable(format!("starting {program}: {e}")),
    };
    if let Some(mut input) = child.stdin.take() {
        // A program that does not care for its input may end before it has read it: its exit code counts.
        let _ = input.write_all(json.to_string().as_bytes()).await;
        let _ = input.write_all(b"\n").await;
    }
    match child.wait().await {
        Ok(status) if status.success() => Sent::Done,
        Ok(status) => Sent::Refused(format!("{program} ended with {status}")),
        Err(e) => Sent::Unreachable(format!("waiting for {program}: {e}")),
    }
}

async fn publish(publisher: &Publisher, topic: &str, json: &Value) -> Sent {
    match publisher.send(topic, json.to_string().into_bytes()) {
        Ok(receipt) => match receipt.await {
            Ok(()) => Sent::Done,
            Err(_) => Sent::Unreachable("the connection to the broker ended before it confirmed".to_owned()),
        },
        Err(e) => Sent::Unreachable(reason(&e)),
    }
}

#[cfg(test)]
#[path = "ways_tests.rs"]
mod tests;
