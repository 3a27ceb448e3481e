//! What a keeper does: forms from the pages, and one JSON address for the command line and for scripts.
use super::App;
use super::pages::plain;
use crate::acts::NOTE_KINDS;
use crate::pipeline::WHY_MAX;
use crate::snapshot::{Act, ActKind, AlarmAct, AlarmName, Note};
use crate::times;
use crate::views::hours::moment;
use crate::views::notebook::{NOTES_PATH, TEXT_MAX, notes_url};
use crate::views::now::{ALARMS_PATH, nest_url};
use crate::views::standing::SHELVE_MIN;
use crate::views::story::STORY_PATH;
use crate::views::words::listed;
use axum::Json;
use axum::extract::Form;
use axum::extract::State;
use axum::extract::rejection::{FormRejection, JsonRejection};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use dashboards::say;
use enclosure::{Alarm, Timestamp};
use serde::Deserialize;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::oneshot;

/// Longest time an act may wait for the pipeline.
const ACT_WITHIN: Duration = Duration::from_secs(10);
/// Longest silence, minutes: a week.
pub(super) const SHELVE_MIN_MAX: u32 = 7 * 24 * 60;
/// Longest name of the way by which an act came, characters.
const BY_CHARS_MAX: usize = 60;
/// Longest text of a note, characters.
pub(super) const NOTE_CHARS_MAX: usize = TEXT_MAX;
/// Longest address that a form leads back to, characters.
const BACK_CHARS_MAX: usize = 400;

/// Fields of a form and of `POST /act`. Empty is as good as absent.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(crate) struct Wish {
    /// `ack`, `on-the-way`, `shelve`, `unshelve`, `reset`, `out-of-service`, `in-service`, `put-back-fit` or `note`.
    r#do: String,
    alarm: String,
    nest: String,
    probe: String,
    node: String,
    minutes: Loose,
    /// End of a time out of service: seconds since 1970, a day, RFC 3339 or a span ahead; until put back without.
    until: Loose,
    /// By which way it came, where that is not the page.
    by: String,
    /// Why, in the keeper's words.
    why: String,
    kind: String,
    at_mm: Loose,
    text: String,
    at: Loose,
    /// The number of a fit that is to be put back.
    fit: Loose,
    /// Where a form leads back to.
    back: String,
}

/// A number or a text: forms know only texts.
#[derive(Debug, Default, Deserialize)]
#[serde(untagged)]
enum Loose {
    #[default]
    None,
    Number(f64),
    Text(String),
}

impl Loose {
    fn number(&self, what: impl FnOnce() -> String) -> Result<Option<f64>, String> {
        let parsed = match self {
            Self::None => return Ok(None),
            Self::Number(v) => Some(*v),
            Self::Text(t) if t.trim().is_empty() => return Ok(None),
            Self::Text(t) => t.trim().replace(',', ".").parse().ok(),
        };
        parsed.filter(|v| v.is_finite()).map(Some).ok_or_else(|| say!("refused-number", what = what()))
    }

    /// Seconds since 1970, or a moment in words; now where nothing stands.
    fn moment(&self, now: Timestamp) -> Result<Timestamp, String> {
        match self {
            Self::None => Ok(now),
            Self::Number(s) => Timestamp::from_unix_s(*s).ok_or_else(|| say!("refused-moment")),
            Self::Text(t) if t.trim().is_empty() => Ok(now),
            Self::Text(t) => moment(t, now),
        }
    }
}

impl Loose {
    /// A moment ahead; none where nothing stands.
    fn end(&self, now: Timestamp) -> Result<Option<Timestamp>, String> {
        match self {
            Self::None => Ok(None),
            Self::Number(s) => Timestamp::from_unix_s(*s).map(Some).ok_or_else(|| say!("refused-end")),
            Self::Text(t) if t.trim().is_empty() => Ok(None),
            Self::Text(t) => times::end(t).map(|end| Some(end.from(now))).map_err(|e| e.to_string()),
        }
    }
}

impl Wish {
    /// Who asks, and why.
    pub(crate) fn signed(&self) -> Result<(String, String), String> {
        if self.why.chars().count() > WHY_MAX {
            return Err(say!("refused-why-long", most = WHY_MAX));
        }
        let by: String = self.by.chars().filter(|c| !c.is_control()).take(BY_CHARS_MAX).collect();
        let by = if by.trim().is_empty() { "the page".to_owned() } else { by };
        Ok((by, self.why.clone()))
    }

    /// What it asks for, in the pipeline's words.
    pub(crate) fn act(self, now: Timestamp) -> Result<ActKind, String> {
        let what = match self.r#do.as_str() {
            "ack" => AlarmAct::Acknowledge,
            "shelve" => AlarmAct::Shelve(self.minutes()?),
            "unshelve" => AlarmAct::Unshelve,
            "reset" => AlarmAct::Reset,
            "out-of-service" => AlarmAct::TakeOut(self.until.end(now)?),
            "in-service" => AlarmAct::PutBack,
            "on-the-way" => AlarmAct::OnTheWay,
            "note" => return self.note(now).map(ActKind::Note),
            "put-back-fit" => return self.fit(),
            _ => return Err(say!("refused-no-such-act")),
        };
        Ok(ActKind::Alarm(what, self.name()?))
    }

    fn name(self) -> Result<AlarmName, String> {
        if Alarm::from_name(&self.alarm).is_none() {
            return Err(say!("refused-alarm-name"));
        }
        let given = |text: String| Some(text).filter(|t| !t.is_empty());
        let (nest, probe, node) = (given(self.nest), given(self.probe), given(self.node));
        Ok(AlarmName { alarm: self.alarm, nest, probe, node })
    }

    fn fit(self) -> Result<ActKind, String> {
        let fit =
            self.fit.number(|| say!("refused-number-fit"))?.filter(|n| n.fract() == 0.0 && (1.0..1e15).contains(n));
        let fit = fit.ok_or_else(|| say!("refused-fit"))?;
        Ok(ActKind::PutBackFit { nest: self.nest, fit: fit as i64 })
    }

    fn minutes(&self) -> Result<u32, String> {
        let minutes = self.minutes.number(|| say!("refused-number-minutes"))?.unwrap_or(f64::from(SHELVE_MIN));
        if (1.0..=f64::from(SHELVE_MIN_MAX)).contains(&minutes) {
            Ok(minutes as u32)
        } else {
            Err(say!("refused-minutes", most = SHELVE_MIN_MAX))
        }
    }

    fn note(self, now: Timestamp) -> Result<Note, String> {
        if !NOTE_KINDS.contains(&self.kind.as_str()) {
            return Err(say!("refused-note-kind", kinds = listed(NOTE_KINDS.map(str::to_owned))));
        }
        if self.text.chars().count() > NOTE_CHARS_MAX {
            return Err(say!("refused-note-long", most = NOTE_CHARS_MAX));
        }
        let at = self.at.moment(now)?;
        if at > now {
            return Err(say!("refused-note-ahead"));
        }
        let at_mm = self.at_mm.number(|| say!("refused-number-place"))?;
        Ok(Note { at, nest: self.nest, kind: self.kind, at_mm, text: self.text.trim().to_owned() })
    }
}

impl App {
    /// Checks a wish against the shelf and hands it to the pipeline; `Err`: status and why not.
    async fn fulfil(&self, wish: Wish) -> Result<(), (StatusCode, String)> {
        let snap = self.snapshot();
        let known = |id: &str| snap.shelf.nests.iter().find(|n| n.id == id);
        let wrong = |why: String| (StatusCode::BAD_REQUEST, why);
        let (by, why) = wish.signed().map_err(wrong)?;
        let kind = wish.act(self.now()).map_err(wrong)?;
        let nest = match &kind {
            ActKind::Alarm(_, name) => name.nest.as_deref(),
            ActKind::Note(note) => Some(note.nest.as_str()),
            ActKind::PutBackFit { nest, .. } => Some(nest.as_str()),
            ActKind::Proof(_) | ActKind::Elsewhere { .. } => None,
        };
        let described = match nest {
            Some(id) => Some(known(id).ok_or_else(|| {
                wrong(say!("refused-nest-name", nests = listed(snap.shelf.nests.iter().map(|n| n.id.clone()))))
            })?),
            None => None,
        };
        if let (ActKind::Note(Note { at_mm: Some(mm), .. }), Some(n)) = (&kind, described)
            && !(0.0..=n.length_mm).contains(mm)
        {
            return Err(wrong(say!("refused-place", length = n.length_mm.to_string())));
        }
        let (reply, answer) = oneshot::channel();
        self.hand_in(Act { kind, by, why, reply }, answer).await
    }

    /// Hands an act to the pipeline and waits for its answer; `Err`: status and why not.
    pub(super) async fn hand_in(
        &self,
        act: Act,
        answer: oneshot::Receiver<Result<(), String>>,
    ) -> Result<(), (StatusCode, String)> {
        let busy = |why| (StatusCode::SERVICE_UNAVAILABLE, why);
        self.acts.try_send(act).map_err(|_| busy(say!("refused-busy")))?;
        match tokio::time::timeout(ACT_WITHIN, answer).await {
            Ok(Ok(Ok(()))) => Ok(()),
            Ok(Ok(Err(why))) => Err((StatusCode::CONFLICT, why)),
            Ok(Err(_)) => Err(busy(say!("refused-ended"))),
            Err(_) => Err(busy(say!("refused-unanswered"))),
        }
    }

    /// Only pages of our own.
    fn back(&self, wanted: &str) -> String {
        let snap = self.snapshot();
        let nests = snap.shelf.nests.iter().flat_map(|n| [nest_url(&n.id), notes_url(&n.id)]);
        let known = nests.chain([ALARMS_PATH, NOTES_PATH].map(str::to_owned)).find(|url| url == wanted);
        // Printable, and of this path: it can lead nowhere else.
        let is_story = wanted.strip_prefix(STORY_PATH).is_some_and(|rest| rest.starts_with("?name="))
            && wanted.chars().all(|c| c.is_ascii_graphic())
            && wanted.len() <= BACK_CHARS_MAX;
        known.or_else(|| is_story.then(|| wanted.to_owned())).unwrap_or_else(|| "/".to_owned())
    }
}

pub(super) async fn alarm_form(State(app): State<Arc<App>>, form: Result<Form<Wish>, FormRejection>) -> Response {
    answer_form(&app, form, || say!("refused-act")).await
}

pub(super) async fn note_form(State(app): State<Arc<App>>, form: Result<Form<Wish>, FormRejection>) -> Response {
    let form = form.map(|Form(wish)| Form(Wish { r#do: "note".to_owned(), ..wish }));
    answer_form(&app, form, || say!("refused-note")).await
}

async fn answer_form(app: &App, form: Result<Form<Wish>, FormRejection>, title: fn() -> String) -> Response {
    let wish = match form {
        Ok(Form(wish)) => wish,
        Err(e) => return plain(app, e.status(), title(), vec![say!("refused-form")]),
    };
    let back = app.back(&wish.back);
    match app.fulfil(wish).await {
        Ok(()) => (StatusCode::SEE_OTHER, [(header::LOCATION, back)]).into_response(),
        Err((status, why)) => plain(app, status, title(), vec![say!("refused-not-done", why = why)]),
    }
}

/// `POST /act`: `{"do":"ack","alarm":"brood-hot","nest":"oak"}` or
/// `{"do":"note","nest":"oak","kind":"brood","at_mm":60,"text":"…"}`; the answer is `{"done":true}` or says why not.
pub(super) async fn act_json(State(app): State<Arc<App>>, body: Result<Json<Wish>, JsonRejection>) -> Response {
    let done = match body {
        Ok(Json(wish)) => app.fulfil(wish).await,
        Err(e) => Err((e.status(), e.body_text())),
    };
    match done {
        Ok(()) => Json(serde_json::json!({ "done": true })).into_response(),
        Err((status, why)) => (status, Json(serde_json::json!({ "done": false, "why": why }))).into_response(),
    }
}
