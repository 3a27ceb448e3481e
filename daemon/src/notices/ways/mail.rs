//! A message by mail: SMTP (RFC 5321) with TLS, the nest's picture within, and a text that says the same.
use super::{Letter, Sent, reason, secret};
use dashboards::say;
use enclosure::Priority;
use lettre::message::header::{HeaderName, HeaderValue};
use lettre::message::{Attachment, Mailbox, Message, MultiPart, SinglePart};
use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::{Certificate, Tls, TlsParameters};
use lettre::{AsyncSmtpTransport, AsyncTransport as _, Tokio1Executor};
use std::path::PathBuf;

/// Ports where none is written (RFC 6409, RFC 8314).
const SUBMISSION_PORT: u16 = 587;
const SUBMISSIONS_PORT: u16 = 465;
/// Largest certificate file, bytes.
const CERTIFICATE_MAX: u64 = 256 * 1024;

/// Where mail is handed over, and to whom it goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Post {
    pub(super) server: reqwest::Url,
    pub(super) from: Mailbox,
    pub(super) to: Vec<Mailbox>,
    pub(super) user: Option<String>,
    pub(super) password_file: Option<PathBuf>,
    pub(super) ca_file: Option<PathBuf>,
}

impl Post {
    /// Hands one letter over to the server.
    pub(super) async fn send(&self, letter: &Letter) -> Sent {
        let message = match self.written(letter) {
            Ok(message) => message,
            Err(why) => return Sent::Refused(why),
        };
        let transport = match self.transport().await {
            Ok(transport) => transport,
            Err(why) => return Sent::Unreachable(why),
        };
        match transport.send(message).await {
            Ok(_) => Sent::Done,
            // 530 to 538 are about who we are (RFC 4954): the keeper's to mend, not this message's fault.
            Err(e) => {
                let about_us = e.status().is_some_and(|code| (530..=538).contains(&u16::from(code)));
                if e.is_permanent() && !about_us { Sent::Refused(reason(&e)) } else { Sent::Unreachable(reason(&e)) }
            }
        }
    }

    /// A connection of its own for each message: they are rare, and servers close idle ones.
    async fn transport(&self) -> Result<AsyncSmtpTransport<Tokio1Executor>, String> {
        let host = self.server.host_str().unwrap_or_default().trim_matches(['[', ']']).to_owned();
        let from_the_start = self.server.scheme() == "smtps";
        let usual = if from_the_start { SUBMISSIONS_PORT } else { SUBMISSION_PORT };
        let tls = if from_the_start {
            Tls::Wrapper(self.tls(&host).await?)
        } else if is_loopback(&host) && self.ca_file.is_none() {
            // Nothing leaves this machine; and no certificate speaks for it.
            Tls::None
        } else {
            Tls::Required(self.tls(&host).await?)
        };
        let mut builder = AsyncSmtpTransport::<Tokio1Executor>::builder_dangerous(host)
            .port(self.server.port().unwrap_or(usual))
            .tls(tls)
            .timeout(Some(super::SEND_TIMEOUT));
        if let (Some(user), Some(path)) = (&self.user, &self.password_file) {
            builder = builder.credentials(Credentials::new(user.clone(), secret(path).await?));
        }
        Ok(builder.build())
    }

    async fn tls(&self, host: &str) -> Result<TlsParameters, String> {
        drop(rustls::crypto::ring::default_provider().install_default());
        let mut builder = TlsParameters::builder(host.to_owned());
        if let Some(path) = &self.ca_file {
            let pem = super::bounded(path, CERTIFICATE_MAX).await?;
            let certificate = Certificate::from_pem(pem.as_bytes());
            builder =
                builder
                    .add_root_certificate(certificate.map_err(|e| {
                        say!("failed-certificate", path = path.display().to_string(), why = reason(&e))
                    })?);
        }
        builder.build_rustls().map_err(|e| reason(&e))
    }

    fn written(&self, letter: &Letter) -> Result<Message, String> {
        let text = letter.message.text();
        let mut message = Message::builder().from(self.from.clone()).subject(letter.message.first_line.clone());
        for to in &self.to {
            message = message.to(to.clone());
        }
        let shown = match &letter.picture {
            Some(picture) => Some(
                MultiPart::alternative().singlepart(SinglePart::plain(text.clone())).multipart(
                    MultiPart::related().singlepart(SinglePart::html(html(&text, &picture.words))).singlepart(
                        Attachment::new_inline("profile".to_owned())
                            .body(picture.png.clone(), "image/png".parse().map_err(|_| say!("failed-mail-picture"))?),
                    ),
                ),
            ),
            None => None,
        };
        let html_type = || "text/html; charset=utf-8".parse().map_err(|_| say!("failed-mail-page"));
        let built = match (shown, &letter.page) {
            (Some(shown), None) => message.multipart(shown),
            (None, None) => message.singlepart(SinglePart::plain(text)),
            (shown, Some((name, page))) => {
                let file = Attachment::new(name.clone()).body(page.clone(), html_type()?);
                let mixed = match shown {
                    Some(shown) => MultiPart::mixed().multipart(shown),
                    None => MultiPart::mixed().singlepart(SinglePart::plain(text)),
                };
                message.multipart(mixed.singlepart(file))
            }
        };
        let mut built = built.map_err(|e| say!("failed-mail-written", why = reason(&e)))?;
        // Nobody's holiday answer is wanted (RFC 3834).
        put(&mut built, "Auto-Submitted", "auto-generated");
        if letter.priority == Priority::Danger {
            put(&mut built, "Importance", "high");
        }
        Ok(built)
    }
}

fn put(message: &mut Message, name: &'static str, value: &str) {
    let name = HeaderName::new_from_ascii_str(name);
    message.headers_mut().insert_raw(HeaderValue::new(name, value.to_owned()));
}

/// The same text with the picture below its first line; `words` say what the picture shows.
fn html(text: &str, words: &str) -> String {
    let (first, body) = text.split_once("\n\n").unwrap_or((text, ""));
    let picture = format!("<img src=\"cid:profile\" alt=\"{}\" style=\"max-width:100%\">", dashboards::escape(words));
    let body = dashboards::escape(body).replace('\n', "<br>\n");
    format!(
        "<!DOCTYPE html><html lang=\"en\"><head><meta charset=\"utf-8\"></head><body><p><strong>{}</strong></p>\n\
         <p>{body}</p>\n<p>{picture}</p></body></html>",
        dashboards::escape(first)
    )
}

fn is_loopback(host: &str) -> bool {
    host == "localhost" || host.parse::<std::net::IpAddr>().is_ok_and(|ip| ip.is_loopback())
}

#[cfg(test)]
mod tests {
    use super::super::super::picture::Picture;
    use super::super::super::text::Message as Text;
    use super::*;

    fn letter(picture: bool, page: bool) -> Letter {
        Letter {
            priority: Priority::Advice,
            message: Text { first_line: "The week".to_owned(), body: "Nest oak: quiet.".to_owned() },
            json: serde_json::Value::Null,
            at: String::new(),
            picture: picture.then(|| Picture { png: vec![0x89, b'P'], words: "a quiet week".to_owned() }),
            page: page.then(|| ("week.html".to_owned(), "<p>whole</p>".to_owned())),
        }
    }

    /// Whatever it carries, the text is in it: a reader that shows no pictures misses nothing (RFC 2046, alternative).
    #[test]
    fn a_page_is_attached_and_a_picture_is_within() {
        let post = Post {
            server: reqwest::Url::parse("smtp://127.0.0.1:25").unwrap(),
            from: "shelf@example.org".parse().unwrap(),
            to: vec!["keeper@example.org".parse().unwrap()],
            user: None,
            password_file: None,
            ca_file: None,
        };
        for (picture, page) in [(false, false), (true, false), (false, true), (true, true)] {
            let text = String::from_utf8(post.written(&letter(picture, page)).unwrap().formatted()).unwrap();
            assert!(text.contains("Nest oak: quiet."), "{text}");
            assert_eq!(text.contains("image/png"), picture, "{text}");
            assert_eq!(text.contains("filename=\"week.html\"") && text.contains("multipart/mixed"), page, "{text}");
        }
    }
}
