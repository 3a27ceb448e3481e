//! Acts by message: `<prefix>/<user>/act`, with the object that `POST /act` takes; answered on `<prefix>/<user>/acted`.
//!
//! Only from a broker that knows its users: our own with a users file and the right `act`, or the users that the shelf
//! file names of one elsewhere. The topic says who acts, and the broker sees to it that nobody else publishes there.
use super::Pipeline;
use super::draft::Draft;
use crate::broker::users::{ACTED, acting};
use crate::intake::Message;
use crate::snapshot::{Act, ActKind, AlarmAct};
use crate::web::acts::Wish;
use dashboards::say;
use enclosure::{Alarm, Priority};
use tokio::sync::oneshot;

/// Largest act, bytes.
const ACT_BYTES_MAX: usize = 8 * 1024;

impl Pipeline {
    /// Takes in a message, whatever it is.
    pub(super) fn take(&mut self, message: &Message) {
        match self.acting_user(message) {
            Some(user) => self.act_by_message(user, message),
            None => self.message(message),
        }
    }

    /// Who acts by this message; `None` if it is none of an act, or of nobody who may.
    fn acting_user<'a>(&self, message: &'a Message) -> Option<&'a str> {
        let user = acting(&self.settings.prefix, &message.topic)?;
        let may = |named: &Option<String>| named.as_ref().is_none_or(|named| named == user);
        self.settings.acting.iter().any(may).then_some(user)
    }

    fn act_by_message(&mut self, user: &str, message: &Message) {
        self.touched = true;
        self.tally.vitals.messages += 1;
        let (reply, mut answered) = oneshot::channel();
        let outcome = self.wish_of(message).map(|(kind, why)| {
            let act = Act { kind, by: format!("MQTT user {user}"), why, reply };
            self.act(act);
        });
        // What is declined is known at once; what is done may wait for the disk, and then is done.
        let outcome = outcome.and_then(|()| answered.try_recv().unwrap_or(Ok(())));
        let answer = match &outcome {
            Ok(()) => serde_json::json!({ "done": true }),
            Err(why) => serde_json::json!({ "done": false, "why": why }),
        };
        if let Err(why) = &outcome {
            tracing::warn!(user, why, "an act by message was not done");
        }
        let topic = format!("{}/{user}/{ACTED}", self.settings.prefix);
        if let Err(error) = self.publisher.send(&topic, answer.to_string().into_bytes()) {
            tracing::warn!(%error, user, "an act by message could not be answered");
        }
        // Acknowledged in the order of arrival, like every message.
        self.submit(Draft { message: Some((message.ack, message.arrived)), ..Draft::default() });
    }

    fn wish_of(&self, message: &Message) -> Result<(ActKind, String), String> {
        if !message.live {
            return Err(say!("declined-kept"));
        }
        if message.payload.len() > ACT_BYTES_MAX {
            return Err(say!("declined-long", most = ACT_BYTES_MAX));
        }
        let wish: Wish =
            serde_json::from_slice(&message.payload).map_err(|error| say!("declined-form", why = error.to_string()))?;
        let (_, why) = wish.signed()?;
        let kind = wish.act(self.clock.now())?;
        if silences_a_danger(&kind) {
            return Err(say!("declined-silence-here"));
        }
        Ok((kind, why))
    }
}

/// A button that is pressed by mistake, or held by whoever has its password, must silence no danger.
fn silences_a_danger(kind: &ActKind) -> bool {
    let ActKind::Alarm(AlarmAct::Shelve(_), name) = kind else { return false };
    Alarm::from_name(&name.alarm).is_some_and(|alarm| alarm.priority() == Priority::Danger)
}
