//! The way to the other end: one request at a time, each with a timeout, and what each answer means.
//!
//! Answers as InfluxDB 2 gives them: 204 all written; 400 or 422 with `partial write`: all but some; another 400: the
//! request is malformed, which one line may cause, so it is halved until the line is found; 413: halved; 401, 403, 404
//! are the keeper's to mend; 429, 503 and whatever else: later. The client hands on no Retry-After.
use super::MirrorError;
use crate::shelf_file::InfluxSettings;
use crate::small_file;
use dashboards::say;
use influxdb2::RequestError;
use influxdb2::api::write::TimestampPrecision;
use std::borrow::Cow;
use std::time::Duration;

/// Largest file with a token, bytes.
const TOKEN_MAX: u64 = 4096;
/// Longest that one request may take: the client itself would wait for ever.
const WRITE_TIMEOUT: Duration = Duration::from_secs(10);
/// Halvings of one body in search of bad lines; what is malformed beyond is given up as it is.
const HALVINGS_MAX: u32 = 64;
/// So much of another's answer is repeated.
const SAID_MAX: usize = 160;

/// Where to, and how.
#[derive(Clone, Debug)]
pub(super) struct Post {
    client: influxdb2::Client,
    url: String,
    org: String,
    bucket: String,
    /// `,shelf=hallway`, or nothing.
    tag: String,
}

/// What became of a body that is done with.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Delivered {
    pub(super) sent: u64,
    pub(super) lost: u64,
    /// What was said of those that are lost.
    pub(super) refused: Option<String>,
}

/// What an answer means.
enum Answer {
    Taken,
    /// All but so many, as far as it says.
    Partly(u64, String),
    TooLarge,
    Malformed(String),
    Later(String),
}

impl Post {
    pub(super) fn new(settings: &InfluxSettings) -> Result<Self, MirrorError> {
        let address = || MirrorError::Address { url: settings.url.clone() };
        // The client panics on a bad address.
        let url = reqwest::Url::parse(&settings.url).map_err(|_| address())?;
        if url.scheme() != "http" || url.host_str().is_none_or(str::is_empty) {
            return Err(address());
        }
        let token = match &settings.token_file {
            Some(path) => {
                let read = small_file::text(path, TOKEN_MAX);
                read.map_err(|source| MirrorError::Token { path: path.clone(), source })?.trim().to_owned()
            }
            None => String::new(),
        };
        let url = url.as_str().trim_end_matches('/').to_owned();
        let client = influxdb2::Client::new(&url, settings.org.clone(), token);
        let tag = settings.shelf_tag.as_ref().map(|shelf| format!(",shelf={shelf}")).unwrap_or_default();
        Ok(Self { client, url, org: settings.org.clone(), bucket: settings.bucket.clone(), tag })
    }

    /// A name for where it goes.
    pub(super) fn target(&self) -> String {
        format!("{} {} {}{}", self.url, self.org, self.bucket, self.tag)
    }

    /// Sends lines until each is taken or refused for good.
    ///
    /// # Errors
    /// Why it is to be tried again later, as a whole: what was taken already is then sent again.
    pub(super) async fn deliver(&self, body: &str) -> Result<Delivered, String> {
        let mut done = Delivered::default();
        let tagged = self.tagged(body);
        let mut pieces = vec![&*tagged];
        let mut halvings = 0;
        while let Some(piece) = pieces.pop() {
            let lines = piece.lines().count() as u64;
            match self.post(piece).await {
                Answer::Taken => done.sent += lines,
                Answer::Partly(dropped, why) => {
                    let dropped = dropped.clamp(1, lines.max(1));
                    done.sent += lines - dropped;
                    done.lost += dropped;
                    done.refused = Some(why);
                }
                Answer::TooLarge if lines > 1 => pieces.extend(halves(piece)),
                Answer::Malformed(_) if lines > 1 && halvings < HALVINGS_MAX => {
                    halvings += 1;
                    pieces.extend(halves(piece));
                }
                Answer::TooLarge => {
                    done.lost += lines;
                    done.refused = Some(say!("failed-mirror-line"));
                }
                Answer::Malformed(why) => {
                    done.lost += lines;
                    done.refused = Some(why);
                }
                Answer::Later(why) => return Err(why),
            }
        }
        Ok(done)
    }

    /// The same lines, each with the shelf's tag after its measurement, whose name holds no comma and no space.
    fn tagged<'a>(&self, body: &'a str) -> Cow<'a, str> {
        if self.tag.is_empty() {
            return Cow::Borrowed(body);
        }
        let mut out = String::with_capacity(body.len() + body.lines().count() * (self.tag.len() + 1));
        for line in body.lines() {
            let end = line.find([',', ' ']).unwrap_or(line.len());
            let (name, rest) = line.split_at(end);
            out.extend([name, &self.tag, rest, "\n"]);
        }
        Cow::Owned(out)
    }

    async fn post(&self, body: &str) -> Answer {
        let precision = TimestampPrecision::Milliseconds;
        let writing =
            self.client.write_line_protocol_with_precision(&self.org, &self.bucket, body.to_owned(), precision);
        match tokio::time::timeout(WRITE_TIMEOUT, writing).await {
            Ok(Ok(())) => Answer::Taken,
            Ok(Err(RequestError::Http { status, text })) => self.meaning(status.as_u16(), &text),
            Ok(Err(_)) => Answer::Later(say!("failed-mirror-reach", url = &self.url)),
            Err(_) => Answer::Later(say!("failed-mirror-late", url = &self.url, seconds = WRITE_TIMEOUT.as_secs())),
        }
    }

    fn meaning(&self, status: u16, text: &str) -> Answer {
        let why = shown(text);
        let said = || say!("failed-mirror-said", status = status, why = &why);
        match status {
            // Any other success than 204 the client takes for an error.
            200..=299 => Answer::Taken,
            400 | 422 if text.contains("partial write") => Answer::Partly(dropped(text), said()),
            400 | 422 => Answer::Malformed(said()),
            413 => Answer::TooLarge,
            401 | 403 => Answer::Later(say!("failed-mirror-token", status = status, why = &why)),
            404 => {
                let (bucket, org) = (&self.bucket, &self.org);
                Answer::Later(say!("failed-mirror-bucket", status = status, why = &why, bucket = bucket, org = org))
            }
            429 | 503 => Answer::Later(say!("failed-mirror-overloaded", status = status, why = &why)),
            _ => Answer::Later(said()),
        }
    }
}

/// Two parts of whole lines, the later one first: the last of a stack is sent first.
fn halves(body: &str) -> [&str; 2] {
    let lines = body.lines().count();
    let end = body.match_indices('\n').nth((lines / 2).max(1) - 1).map_or(body.len(), |(i, _)| i + 1);
    let (first, second) = body.split_at(end);
    [second, first]
}

/// The number behind `dropped=`; 1 where there is none.
fn dropped(text: &str) -> u64 {
    let digits = text.split("dropped=").nth(1).map(|rest| rest.chars().take_while(char::is_ascii_digit).collect());
    digits.and_then(|digits: String| digits.parse().ok()).unwrap_or(1)
}

/// Another's words, within bounds and without what a terminal would obey.
fn shown(text: &str) -> String {
    text.chars().take(SAID_MAX).map(|c| if c.is_control() { ' ' } else { c }).collect::<String>().trim().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::http_probe::Probe;

    fn post(probe: &Probe) -> Post {
        let (url, org, bucket) = (probe.url(""), "home".to_owned(), "shelf".to_owned());
        Post::new(&InfluxSettings { url, org, bucket, token_file: None, shelf_tag: None }).expect("an address")
    }

    fn lines(n: usize) -> String {
        (0..n).map(|i| format!("reading,source=a:b value={i} {i}\n")).collect()
    }

    /// Answers as InfluxDB 2 words them (its API's documentation, and its source) ...
    const PARTIAL: &str = r#"{"code":"unprocessable entity","message":"failure writing points to database: partial write: field type conflict: input field \"value\" on measurement \"reading\" is type float, already exists as type integer dropped=3"}"#;
    const MALFORMED: &str = r#"{"code":"invalid","message":"unable to parse 'reading value': missing field value"}"#;
    const UNAUTHORIZED: &str = r#"{"code":"unauthorized","message":"unauthorized access"}"#;
    const NOT_FOUND: &str = r#"{"code":"not found","message":"bucket \"shelf\" not found"}"#;
    /// ... one that a server of version 2.6.1 gave, as recorded in a public report ...
    const TOO_OLD: &str = r#"{"code":"unprocessable entity","message":"failure writing points to database: partial write: points beyond retention policy dropped=1"}"#;
    /// ... and two of version 1.6, taken from the server itself: what can be parsed is written there.
    const PARTIAL_1: &str = r#"{"error":"partial write: field type conflict: input field \"value\" on measurement \"reading\" is type integer, already exists as type float dropped=1"}"#;
    const MALFORMED_1: &str =
        r#"{"error":"partial write: unable to parse 'reading,nest=oak value': invalid field format dropped=0"}"#;
    const TOO_LARGE: &str = r#"{"code":"request too large","message":"cannot read data: points batch is too large"}"#;

    #[tokio::test]
    async fn lines_arrive_with_milliseconds() {
        let mut probe = Probe::start(&[]).await;
        let done = post(&probe).deliver(&lines(2)).await.expect("taken");
        assert_eq!(done, Delivered { sent: 2, ..Delivered::default() });
        let request = probe.request().await;
        assert!(request.head.starts_with("POST /api/v2/write?bucket=shelf&org=home&precision=ms "), "{}", request.head);
        assert_eq!(request.body, lines(2));
    }

    #[tokio::test]
    async fn every_line_carries_the_shelf_where_it_is_to() {
        let mut probe = Probe::start(&[]).await;
        let mut post = post(&probe);
        let plain = post.target();
        post.tag = ",shelf=top-board".to_owned();
        assert_ne!(post.target(), plain, "another target is mirrored from the beginning");
        let body = "reading,source=a:b value=1 5\nalarm active=1,detail=\"a, b\" 6\n";
        assert_eq!(post.deliver(body).await.expect("taken").sent, 2);
        let sent = "reading,shelf=top-board,source=a:b value=1 5\nalarm,shelf=top-board active=1,detail=\"a, b\" 6\n";
        assert_eq!(probe.request().await.body, sent);
    }

    #[tokio::test]
    async fn a_partial_write_is_not_sent_again_and_what_was_dropped_is_counted() {
        for (status, answer, lost, said) in [
            (400, PARTIAL, 3, "field type conflict"),
            (422, PARTIAL, 3, "field type conflict"),
            (422, TOO_OLD, 1, "beyond retention policy"),
            (400, PARTIAL_1, 1, "field type conflict"),
            (400, MALFORMED_1, 1, "invalid field format"),
        ] {
            let mut probe = Probe::start(&[(status, answer)]).await;
            let done = post(&probe).deliver(&lines(10)).await.expect("done with");
            assert_eq!((done.sent, done.lost), (10 - lost, lost), "{answer}");
            assert!(done.refused.is_some_and(|why| why.contains(said)), "{answer}");
            probe.request().await;
            assert!(!probe.has_more());
        }
    }

    #[tokio::test]
    async fn a_malformed_request_is_halved_until_the_bad_line_is_found() {
        // Of eight lines the first is bad: 8, 4, 2, 1 are refused, the rest is taken.
        let probe = Probe::start(&[(400, MALFORMED); 4]).await;
        let done = post(&probe).deliver(&lines(8)).await.expect("done with");
        assert_eq!((done.sent, done.lost), (7, 1));
    }

    #[tokio::test]
    async fn a_server_that_calls_everything_malformed_is_not_asked_for_ever() {
        let mut probe = Probe::start(&[(400, MALFORMED); 400]).await;
        let delivering = tokio::spawn({
            let post = post(&probe);
            async move { post.deliver(&lines(1_000)).await }
        });
        let mut asked = 0;
        while !delivering.is_finished() {
            tokio::select! {
                _ = probe.request() => asked += 1,
                () = tokio::task::yield_now() => {}
            }
        }
        let done = delivering.await.expect("no panic").expect("done with");
        assert_eq!((done.sent, done.lost), (0, 1_000));
        assert!(asked <= 2 * HALVINGS_MAX + 1, "{asked} requests");
    }

    #[tokio::test]
    async fn what_is_too_large_is_halved_and_nothing_is_lost() {
        let mut probe = Probe::start(&[(413, TOO_LARGE), (413, TOO_LARGE)]).await;
        let done = post(&probe).deliver(&lines(9)).await.expect("taken");
        assert_eq!(done, Delivered { sent: 9, ..Delivered::default() });
        let mut taken = String::new();
        for request in 0..5 {
            let body = probe.request().await.body;
            if request > 1 {
                taken += &body;
            }
        }
        assert_eq!(taken, lines(9), "in their order");
        let probe = Probe::start(&[(413, TOO_LARGE)]).await;
        let done = post(&probe).deliver(&lines(1)).await.expect("done with");
        assert_eq!(done.lost, 1);
    }

    #[tokio::test]
    async fn what_may_heal_is_kept_and_said() {
        for (status, text, said) in [
            (401, UNAUTHORIZED, "token_file"),
            (403, UNAUTHORIZED, "token_file"),
            (404, NOT_FOUND, "make the bucket shelf of home"),
            (429, "", "overloaded"),
            (503, "", "overloaded"),
            (500, "internal\u{1b}[2J error", "500: internal [2J error"),
            (302, "", "302"),
        ] {
            let probe = Probe::start(&[(status, text)]).await;
            let why = post(&probe).deliver(&lines(2)).await.expect_err("later");
            assert!(why.contains(said), "{why}");
        }
        let gone = Probe::start(&[]).await;
        let unreachable = Post { url: "http://127.0.0.1:1".to_owned(), ..post(&gone) };
        let client = influxdb2::Client::new("http://127.0.0.1:1", "home", "");
        let why = Post { client, ..unreachable }.deliver(&lines(1)).await.expect_err("later");
        assert!(why.contains("cannot be reached"), "{why}");
    }

    #[test]
    fn an_address_that_is_none_is_refused_instead_of_a_panic() {
        for url in ["", "nonsense", "https://host", "http://"] {
            let (url, org, bucket) = (url.to_owned(), String::new(), String::new());
            assert!(
                Post::new(&InfluxSettings { url: url.clone(), org, bucket, token_file: None, shelf_tag: None })
                    .is_err(),
                "{url}"
            );
        }
    }
}
