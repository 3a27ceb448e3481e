//! A message by HTTP POST, signed if the keeper gave a key: HMAC (RFC 2104) with SHA-256 over time and body.
use super::{Sent, reason, secret};
use dashboards::say;
use hmac::{Hmac, KeyInit as _, Mac as _};
use serde_json::Value;
use sha2::Sha256;
use std::path::{Path, PathBuf};

/// The header that says when it was signed (RFC 3339): an old message cannot be passed off as a new one.
pub const TIME_HEADER: &str = "warmend-time";
/// The header with the signature: `sha256=` and hexadecimal digits.
pub const SIGNATURE_HEADER: &str = "warmend-signature";

/// Where messages are posted.
#[derive(Debug)]
pub(crate) struct Webhook {
    url: reqwest::Url,
    token_file: Option<PathBuf>,
    secret_file: Option<PathBuf>,
    client: reqwest::Client,
}

impl Webhook {
    /// A client for one address; in plain words why there can be none.
    pub(super) fn new(url: &str, token_file: Option<&Path>, secret_file: Option<&Path>) -> Result<Self, String> {
        let url = reqwest::Url::parse(url).map_err(|e| say!("failed-address", text = url, why = e.to_string()))?;
        let (token_file, secret_file) = (token_file.map(Path::to_owned), secret_file.map(Path::to_owned));
        Ok(Self { url, token_file, secret_file, client: client()? })
    }

    /// Posts `json`; `at` is the moment of signing, as RFC 3339.
    pub(super) async fn post(&self, json: &Value, at: &str) -> Sent {
        let body = json.to_string();
        let mut request = self.client.post(self.url.clone()).header("content-type", "application/json");
        // Read each time, so that a secret can be changed under a running daemon.
        if let Some(path) = &self.token_file {
            match secret(path).await {
                Ok(token) => request = request.bearer_auth(token),
                Err(why) => return Sent::Unreachable(why),
            }
        }
        if let Some(path) = &self.secret_file {
            match secret(path).await {
                Ok(key) => {
                    let signature =
                        format!("sha256={}", hex(&sign(key.as_bytes(), &[at.as_bytes(), b".", body.as_bytes()])));
                    request = request.header(TIME_HEADER, at).header(SIGNATURE_HEADER, signature);
                }
                Err(why) => return Sent::Unreachable(why),
            }
        }
        judged(request.body(body).send().await, &self.url)
    }
}

/// A client that waits for nobody and follows nobody.
pub(crate) fn client() -> Result<reqwest::Client, String> {
    // Without a provider the client panics; a second installation does no harm.
    drop(rustls::crypto::ring::default_provider().install_default());
    reqwest::Client::builder()
        .timeout(super::SEND_TIMEOUT)
        // A redirected POST would become a GET, and carry the token elsewhere.
        .redirect(reqwest::redirect::Policy::none())
        .user_agent(concat!("warmend/", env!("CARGO_PKG_VERSION")))
        .build()
        .map_err(|e| say!("failed-client", why = e.to_string()))
}

/// What an answer means.
pub(crate) fn judged(answer: reqwest::Result<reqwest::Response>, url: &reqwest::Url) -> Sent {
    match answer {
        Ok(answer) if answer.status().is_success() => Sent::Done,
        Ok(answer) => {
            let status = answer.status();
            let why = match url.host_str() {
                Some(host) => say!("failed-answered", host = host, status = status.to_string()),
                None => say!("failed-answered-nameless", status = status.to_string()),
            };
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

/// HMAC-SHA-256 over the parts, one after the other.
pub(crate) fn sign(key: &[u8], parts: &[&[u8]]) -> [u8; 32] {
    let mut mac = Hmac::<Sha256>::new_from_slice(key).expect("HMAC takes keys of any length (RFC 2104, section 2)");
    for part in parts {
        mac.update(part);
    }
    mac.finalize().into_bytes().into()
}

/// Whether `mac` is what [`sign`] gives, found out in a time that tells nothing of the difference.
pub(crate) fn is_signed(key: &[u8], parts: &[&[u8]], mac: &[u8]) -> bool {
    let mut own = Hmac::<Sha256>::new_from_slice(key).expect("HMAC takes keys of any length (RFC 2104, section 2)");
    for part in parts {
        own.update(part);
    }
    own.verify_slice(mac).is_ok()
}

/// Hexadecimal digits, small letters.
pub(crate) fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Key, data and HMAC-SHA-256 of RFC 4231, test cases 1 to 4, 6 and 7 (case 5 is truncated).
    #[test]
    fn signatures_are_those_of_the_public_vectors() {
        let cases: [(Vec<u8>, Vec<u8>, &str); 6] = [
            (vec![0x0b; 20], b"Hi There".to_vec(), "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
            (
                b"Jefe".to_vec(),
                b"what do ya want for nothing?".to_vec(),
                "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
            ),
            (vec![0xaa; 20], vec![0xdd; 50], "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"),
            ((1..=25).collect(), vec![0xcd; 50], "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b"),
            (
                vec![0xaa; 131],
                b"Test Using Larger Than Block-Size Key - Hash Key First".to_vec(),
                "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
            ),
            (
                vec![0xaa; 131],
                b"This is a test using a larger than block-size key and a larger than block-size data. The key needs \
                  to be hashed before being used by the HMAC algorithm."
                    .to_vec(),
                "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2",
            ),
        ];
        for (key, data, want) in cases {
            let mac = sign(&key, &[&data]);
            assert_eq!(hex(&mac), want);
            // In parts it is the same, and it is checked as it was made.
            let (head, tail) = data.split_at(data.len() / 2);
            assert!(is_signed(&key, &[head, tail], &mac));
            assert!(!is_signed(&key, &[head], &mac) && !is_signed(b"x", &[head, tail], &mac));
        }
    }
}
