//! The door of the embedded broker: asks who comes, and what they may say and hear.
use super::MAX_RETAINED_BYTES;
use super::users::{Users, password_fits};
use mqtt5::broker::{AuthProvider, AuthResult};
use mqtt5::packet::connect::ConnectPacket;
use mqtt5::protocol::v5::reason_codes::ReasonCode;
use std::future::Future;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use tokio::sync::Semaphore;

/// Passwords checked at the same time: each takes the memory that its hash asks for.
const CHECKS_AT_ONCE: usize = 2;

type Answer<'a, T> = Pin<Box<dyn Future<Output = T> + Send + 'a>>;

/// Who is let in.
pub(super) struct Guard {
    /// The daemon's own name, client id and password of this start.
    own: super::OwnLogin,
    /// `None`: anyone who reaches the socket (loopback only).
    users: Option<Arc<Users>>,
    checks: Semaphore,
}

impl Guard {
    pub(super) fn new(own: super::OwnLogin, users: Option<Users>) -> Self {
        Self { own, users: users.map(Arc::new), checks: Semaphore::new(CHECKS_AT_ONCE) }
    }

    async fn admit(&self, name: Option<&str>, password: Option<&[u8]>, client_id: &str) -> Option<Option<String>> {
        if name == Some(self.own.user.as_str()) {
            return same(password?, self.own.password.as_bytes()).then(|| Some(self.own.user.clone()));
        }
        // Whoever took this id would throw the daemon off and take its messages.
        if client_id == self.own.client_id {
            return None;
        }
        let Some(users) = &self.users else { return Some(None) };
        let (name, password) = (name?.to_owned(), password?.to_vec());
        let hash = users.hash(&name)?.to_owned();
        if !users.may_be_called(&name, client_id) {
            return None;
        }
        let _turn = self.checks.acquire().await.ok()?;
        let fits = tokio::task::spawn_blocking(move || password_fits(&password, &hash)).await.unwrap_or(false);
        fits.then_some(Some(name))
    }

    fn is_own(&self, user: Option<&str>) -> bool {
        user == Some(self.own.user.as_str())
    }
}

/// Compares without telling by its duration how much was right.
fn same(a: &[u8], b: &[u8]) -> bool {
    a.len() == b.len() && a.iter().zip(b).fold(0, |differ, (a, b)| differ | (a ^ b)) == 0
}

impl AuthProvider for Guard {
    fn authenticate<'a>(
        &'a self,
        connect: &'a ConnectPacket,
        from: SocketAddr,
    ) -> Answer<'a, mqtt5::Result<AuthResult>> {
        Box::pin(async move {
            if connect.will.as_ref().is_some_and(|will| will.retain && will.payload.len() > MAX_RETAINED_BYTES) {
                tracing::warn!(%from, "broker: refused a connection: its will is larger than {MAX_RETAINED_BYTES} bytes");
                return Ok(AuthResult::fail(ReasonCode::QuotaExceeded));
            }
            let admitted =
                self.admit(connect.username.as_deref(), connect.password.as_deref(), &connect.client_id).await;
            Ok(match admitted {
                Some(Some(user)) => AuthResult::success_with_user(user),
                Some(None) => AuthResult::success(),
                None => {
                    tracing::warn!(%from, "broker: refused a connection: wrong user, password or client id");
                    AuthResult::fail(ReasonCode::BadUsernameOrPassword)
                }
            })
        })
    }

    fn authorize_publish<'a>(&'a self, _client: &str, user: Option<&'a str>, topic: &'a str) -> Answer<'a, bool> {
        Box::pin(std::future::ready(match (&self.users, user) {
            _ if topic.starts_with('$') => false,
            _ if self.is_own(user) => true,
            (None, _) => true,
            (Some(users), Some(user)) => users.may_publish(user, topic),
            (Some(_), None) => false,
        }))
    }

    fn authorize_subscribe<'a>(&'a self, _client: &str, user: Option<&'a str>, filter: &'a str) -> Answer<'a, bool> {
        Box::pin(std::future::ready(match (&self.users, user) {
            // A shared subscription takes messages away from the other sharers: nobody here needs one.
            _ if filter.starts_with("$share/") => false,
            _ if self.is_own(user) => true,
            (None, _) => true,
            (Some(users), Some(user)) => users.may_subscribe(user, filter),
            (Some(_), None) => false,
        }))
    }
}
