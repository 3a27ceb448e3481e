//! Alarms and notes on the picture: bars as long as an alarm stood, and numbers that lead to the list; what lies too
//! close together shares one.
use super::Plate;
use crate::pen::{Anchor, LIMIT, PAPER, Pen, SOFT, look};
use crate::svg::{line_path, spread};
use crate::view::Tone;
use crate::week::{MOST_MARKS, Mark, MarkKind};

/// More marks than these have no lines of their own through all that lies below.
const LINED: usize = 14;

/// Marks that share a number.
struct Cluster {
    first: usize,
    last: usize,
    sum_px: f64,
    last_px: f64,
    kind: MarkKind,
}

impl Cluster {
    fn text(&self) -> String {
        if self.first == self.last {
            (self.first + 1).to_string()
        } else {
            format!("{}\u{2013}{}", self.first + 1, self.last + 1)
        }
    }

    fn middle_px(&self) -> f64 {
        self.sum_px / (self.last - self.first + 1) as f64
    }
}

impl Plate<'_> {
    pub(super) fn marks(&self, pen: &mut Pen, foot: f64) {
        let marks: Vec<_> = self.week.marks.iter().take(MOST_MARKS).collect();
        for mark in &marks {
            self.bar(pen, mark);
            if marks.len() <= LINED {
                let dash = if mark.kind == MarkKind::Note { "2 3" } else { "none" };
                let look = format!(r#"{} stroke-opacity="0.6" stroke-dasharray="{dash}""#, look::leader());
                pen.line((self.x.px(mark.at), self.map_foot), (self.x.px(mark.at), foot), &look);
            }
        }
        let clusters = self.clusters(&marks);
        let y = self.map_foot + 22.0;
        let mut places: Vec<f64> = clusters.iter().map(Cluster::middle_px).collect();
        let widest = clusters.iter().map(|c| c.text().chars().count()).max().unwrap_or(1) as f64;
        spread(&mut places, (widest * 6.8 + 10.0).max(18.0), (self.left - 8.0, self.right + 8.0));
        for (cluster, place) in clusters.iter().zip(places) {
            let from = (cluster.middle_px(), self.map_foot + 10.0);
            pen.path(&line_path([Some(from), Some((place, y - 8.0))]), &look::leader());
            badge(pen, (place, y), &cluster.text(), cluster.kind);
        }
    }

    /// How long an alarm stood, thicker the graver it was.
    fn bar(&self, pen: &mut Pen, mark: &Mark) {
        let MarkKind::Alarm(tone) = mark.kind else {
            if let Some(until) = mark.until {
                let look = format!(r#"class="d-note" fill="{PAPER}" stroke="{SOFT}" stroke-width="1""#);
                let (a, b) = (self.x.px(mark.at), self.x.px(until));
                pen.rect((a, self.map_foot + 3.5), (b.max(a + 2.0), self.map_foot + 6.5), &look);
            }
            return;
        };
        let high = if tone >= Tone::Danger {
            7.0
        } else if tone >= Tone::Warning {
            4.5
        } else {
            2.0
        };
        let (a, b) = (self.x.px(mark.at), self.x.px(mark.until.unwrap_or(mark.at)));
        let look = format!(r#"class="d-alarm" fill="{LIMIT}" fill-opacity="0.85""#);
        pen.rect((a, self.map_foot + 2.0), (b.max(a + 2.0), self.map_foot + 2.0 + high), &look);
    }

    fn clusters(&self, marks: &[&Mark]) -> Vec<Cluster> {
        let mut out: Vec<Cluster> = Vec::new();
        let apart = self.canvas.pick(21.0, 19.0);
        for (i, mark) in marks.iter().enumerate() {
            let x = self.x.px(mark.at);
            match out.last_mut().filter(|c| x - c.last_px < apart && x >= c.last_px) {
                Some(cluster) => {
                    (cluster.last, cluster.last_px, cluster.sum_px) = (i, x, cluster.sum_px + x);
                    cluster.kind = graver(cluster.kind, mark.kind);
                }
                None => out.push(Cluster { first: i, last: i, sum_px: x, last_px: x, kind: mark.kind }),
            }
        }
        out
    }
}

fn graver(a: MarkKind, b: MarkKind) -> MarkKind {
    match (a, b) {
        (MarkKind::Alarm(a), MarkKind::Alarm(b)) => MarkKind::Alarm(a.max(b)),
        (MarkKind::Note, other) | (other, MarkKind::Note) => other,
    }
}

/// What stands for marks: a disc for notes, a filled square where an alarm is among them.
pub(super) fn badge(pen: &mut Pen, (x, y): (f64, f64), text: &str, kind: MarkKind) {
    let half = (text.chars().count() as f64 * 3.4 + 4.0).max(8.0);
    let (corners, round) = (((x - half, y - 8.0), (x + half, y + 8.0)), if kind == MarkKind::Note { 8 } else { 2 });
    let (paper, ink) = match kind {
        MarkKind::Note => {
            let look = format!(r#"rx="{round}" class="d-note" fill="{PAPER}" stroke="{SOFT}" stroke-width="1.3""#);
            pen.rect(corners.0, corners.1, &look);
            (r#"class="d-ink""#, "#2a231b")
        }
        MarkKind::Alarm(_) => {
            pen.rect(corners.0, corners.1, &format!(r#"rx="{round}" class="d-alarm" fill="{LIMIT}""#));
            (r#"class="d-alarm-ink""#, "#fff6e8")
        }
    };
    let look = format!(r#"{paper} fill="{ink}" font-size="10.5""#);
    pen.text((x, y + 3.8), Anchor::Middle, &look, text);
}
