//! Tasks with names: when one ends that should not, the daemon ends with its name, and systemd starts it again.
use std::collections::HashMap;
use tokio::task::{Id, JoinSet};

/// The tasks without which the daemon is none.
#[derive(Debug, Default)]
pub struct Crew {
    tasks: JoinSet<anyhow::Result<()>>,
    names: HashMap<Id, &'static str>,
}

/// A task that ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ended {
    /// Its name.
    pub name: &'static str,
    /// Why it ended; `None`: it was done.
    pub why: Option<String>,
}

impl Crew {
    /// Nobody yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Starts a task. Must be called within a tokio runtime.
    pub fn start(&mut self, name: &'static str, task: impl Future<Output = anyhow::Result<()>> + Send + 'static) {
        let handle = self.tasks.spawn(task);
        self.names.insert(handle.id(), name);
    }

    /// Waits for the next end; for ever while there is no task. Cancel-safe.
    pub async fn next_end(&mut self) -> Ended {
        let (id, why) = match self.tasks.join_next_with_id().await {
            None => std::future::pending().await,
            Some(Ok((id, Ok(())))) => (id, None),
            Some(Ok((id, Err(error)))) => (id, Some(format!("{error:#}"))),
            // A panic's words were printed when it happened.
            Some(Err(error)) => (error.id(), Some(error.to_string())),
        };
        Ended { name: self.names.remove(&id).unwrap_or("a task without a name"), why }
    }

    /// Whether all have ended.
    pub fn is_empty(&self) -> bool {
        self.tasks.is_empty()
    }

    /// Waits until all have ended that know that they should; logs those that failed.
    pub async fn all_end(&mut self) {
        while !self.is_empty() {
            let Ended { name, why } = self.next_end().await;
            if let Some(why) = why {
                tracing::error!(name, why, "a task ended badly while stopping");
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn who_ends_is_named_whether_done_failed_or_panicked() {
        let mut crew = Crew::new();
        crew.start("waiting", std::future::pending());
        crew.start("done", async { Ok(()) });
        assert_eq!(crew.next_end().await, Ended { name: "done", why: None });
        crew.start("failing", async { anyhow::bail!("no paper") });
        assert_eq!(crew.next_end().await, Ended { name: "failing", why: Some("no paper".to_owned()) });
        crew.start("panicking", async { panic!("out of ink") });
        let ended = crew.next_end().await;
        assert_eq!(ended.name, "panicking");
        assert!(ended.why.unwrap().contains("out of ink"));
        assert!(!crew.is_empty());
    }
}
