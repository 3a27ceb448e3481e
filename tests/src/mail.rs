//! A real mail server on loopback: Debian's `python3-aiosmtpd`, with TLS and names where a test wants them; and Python's
//! own reader of mail, so that nothing of ours judges what we sent.
use crate::{SOON, wait};
use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

/// Debian's, which has the package.
const PYTHON: &str = "/usr/bin/python3";

const SERVER: &str = r#"
import ssl, sys, threading
from aiosmtpd.controller import Controller
from aiosmtpd.handlers import Mailbox
from aiosmtpd.smtp import AuthResult

box, how, cert, key = sys.argv[1:5]
context = None
if how != "plain":
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(cert, key)

def who(server, session, envelope, mechanism, data):
    return AuthResult(handled=False, success=(data.login, data.password) == (b"shelf", b"a long word"))

names = {"authenticator": who, "auth_required": True} if how == "starttls" else {}
if how == "starttls":
    names.update(tls_context=context, require_starttls=True)
if how == "tls":
    names.update(ssl_context=context)
controller = Controller(Mailbox(box), hostname="127.0.0.1", port=0, **names)
try:
    controller.start()
except OSError:
    # It greets itself at port 0 to see whether it runs; it does.
    pass
print(controller.server.sockets[0].getsockname()[1], flush=True)
threading.Event().wait()
"#;

const READER: &str = r#"
import email, email.policy, json, sys
with open(sys.argv[1], "rb") as file:
    mail = email.message_from_binary_file(file, policy=email.policy.default)
parts = [{"type": p.get_content_type(), "id": p["Content-ID"], "size": len(p.get_payload(decode=True) or b""),
          "head": (p.get_payload(decode=True) or b"")[:8].hex(),
          "text": p.get_content() if p.get_content_maintype() == "text" else None}
         for p in mail.walk() if not p.is_multipart()]
print(json.dumps({"head": {k: str(v) for k, v in mail.items()}, "parts": parts, "defects": [str(d) for d in mail.defects]}))
"#;

/// How a server wants to be spoken to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Security {
    /// In the clear, without a name.
    Plain,
    /// Encrypted after a greeting, and with a name.
    StartTls,
    /// Encrypted from the start.
    Tls,
}

/// The server; it ends with the test.
#[derive(Debug)]
pub struct MailServer {
    /// Its port.
    pub port: u16,
    process: Child,
    mailbox: PathBuf,
}

impl MailServer {
    /// Starts one that keeps its mail under `dir`.
    pub fn open(dir: &Path, security: Security) -> Self {
        let mailbox = dir.join("mail");
        let (how, cert, key) = match security {
            Security::Plain => ("plain", dir.join("none"), dir.join("none")),
            Security::StartTls => ("starttls", dir.join("mail.pem"), dir.join("mail.key")),
            Security::Tls => ("tls", dir.join("mail.pem"), dir.join("mail.key")),
        };
        if security != Security::Plain {
            certify(&cert, &key);
        }
        let mut process = Command::new(PYTHON)
            .args(["-c", SERVER])
            .arg(&mailbox)
            .arg(how)
            .args([&cert, &key])
            .stdout(Stdio::piped())
            .spawn()
            .expect("a mail server: as root, apt-get install python3-aiosmtpd");
        let mut line = String::new();
        BufReader::new(process.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let port = line.trim().parse().expect("the mail server's port; is python3-aiosmtpd installed?");
        Self { port, process, mailbox }
    }

    /// Every mail that came, as Python reads it.
    pub fn came(&self) -> Vec<Value> {
        let files = std::fs::read_dir(self.mailbox.join("new"));
        let mut files: Vec<_> = files.into_iter().flatten().flatten().map(|file| file.path()).collect();
        files.sort_by_key(|path| std::fs::metadata(path).and_then(|m| m.modified()).ok());
        files.iter().map(|path| read(path)).collect()
    }

    /// The first mail whose subject begins so.
    pub fn titled(&self, beginning: &str) -> Value {
        wait(&format!("a mail \"{beginning}…\""), SOON, || {
            self.came().into_iter().find(|m| m["head"]["Subject"].as_str().is_some_and(|s| s.starts_with(beginning)))
        })
    }
}

impl Drop for MailServer {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

fn read(path: &Path) -> Value {
    let read = Command::new(PYTHON).args(["-c", READER]).arg(path).output().unwrap();
    assert!(read.status.success(), "{}", String::from_utf8_lossy(&read.stderr));
    serde_json::from_slice(&read.stdout).unwrap()
}

/// A certificate that nobody but who is given it trusts.
fn certify(cert: &Path, key: &Path) {
    let made = Command::new("openssl")
        .args(["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2"])
        .args(["-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1"])
        .args(["-addext", "basicConstraints=critical,CA:FALSE"])
        .args([std::ffi::OsStr::new("-keyout"), key.as_os_str(), std::ffi::OsStr::new("-out"), cert.as_os_str()])
        .output()
        .expect("openssl: as root, apt-get install openssl");
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
}
