//! A way that is stopped between any two of its effects, and started again: nothing lost, nothing doubled beyond the one
//! repeat that a crash between sending and storing costs.
use super::desk::{Desk, Past, Sent, Turn};
use super::ledger::{Ledger, SENT};
use super::samples;
use crate::history::Delivery;
use crate::snapshot::Told;
use enclosure::{Alarm, Event, Priority, Span, State, Timestamp};
use std::collections::BTreeMap;
use std::sync::Arc;

const WAY: &str = "webhook";
const BEGIN: Timestamp = Timestamp::from_unix_ms(1_772_323_200_000);

/// What happens on the shelf, at a minute: stored by the pipeline before anybody hears of it.
type Story = Vec<(i64, Told)>;

fn change(id: i64, min: i64, alarm: Alarm, event: Event) -> (i64, Told) {
    let mut told = samples::told(alarm, event, "oak");
    told.id = Some(id);
    told.change.at = BEGIN.plus(Span::from_min(min));
    if event == Event::Acknowledged {
        told.change.state = State::Acknowledged;
    }
    (min, told)
}

/// A danger that is answered and goes on, one that is over unanswered, a warning, and advice.
fn story() -> Story {
    vec![
        change(1, 0, Alarm::HeaterStuckOn, Event::Raised),
        change(2, 1, Alarm::BroodHot, Event::Raised),
        change(3, 3, Alarm::BroodLimit, Event::Raised),
        change(4, 5, Alarm::GradientFlat, Event::Raised),
        change(5, 11, Alarm::HeaterStuckOn, Event::Acknowledged),
        change(6, 15, Alarm::BroodLimit, Event::Cleared),
        change(7, 29, Alarm::HeaterStuckOn, Event::Cleared),
    ]
}

/// The outside and the disk: what outlives a crash.
#[derive(Default)]
struct World {
    /// Messages that a person got: which change, when.
    got: Vec<(i64, Span)>,
    /// Delivery records on the disk.
    stored: Vec<Delivery>,
    /// Crashes so far, and when.
    crashes: Vec<Span>,
    /// Effects so far.
    step: u64,
}

/// The running process: gone in a crash.
struct Process {
    desk: Desk,
    ledger: Ledger,
    since: Span,
    wall: Timestamp,
}

impl Process {
    /// As the daemon starts: what stands, by the latest change of each alarm, and ends nobody heard of.
    fn start(world: &World, story: &Story, now: Span, wall: Timestamp) -> Self {
        let known: Vec<_> = story.iter().filter(|(min, _)| Span::from_min(*min) < now).collect();
        let records: Vec<_> = known.iter().map(|(_, t)| (t.id.unwrap_or(0), t.change.clone())).collect();
        let mut latest: BTreeMap<String, (i64, crate::history::AlarmRecord)> = BTreeMap::new();
        for (id, record) in &records {
            latest.insert(record.alarm.name().to_owned(), (*id, record.clone()));
        }
        let latest: Vec<_> = latest.into_values().collect();
        let mut ledger = Ledger::of(&world.stored);
        ledger.find_ends(&latest, &records, wall.minus(Span::from_h(24)));
        let mut this = Self { desk: Desk::new(Priority::Advice, Span::from_min(5)), ledger, since: now, wall };
        let ends: Vec<Told> = this.ledger.ends().to_vec();
        let standing = latest.into_iter().filter(|(_, c)| c.state != State::Normal);
        let standing = standing.map(|(id, change)| Told { change, id: Some(id), restored: true });
        for told in ends.into_iter().chain(standing) {
            this.take(now, told);
        }
        this
    }

    fn take(&mut self, now: Span, told: Told) {
        let past: Past = self.ledger.past(&told, WAY, self.wall(now));
        // The monotonic clock begins anew with each process.
        self.desk.take(self.own(now), Arc::new(told), Turn::FIRST, past);
    }

    fn own(&self, now: Span) -> Span {
        Span::from_ms(now.ms() - self.since.ms())
    }

    fn wall(&self, now: Span) -> Timestamp {
        self.wall.plus(self.own(now))
    }
}

/// Tells the story for `until`; `crash` says after which effects the process dies. `leap` is how far the wall clock is
/// set at each new start.
fn run(story: &Story, until: Span, mut crash: impl FnMut(u64) -> bool, leap: Span) -> World {
    let mut world = World::default();
    let mut process = Process::start(&world, story, Span::ZERO, BEGIN);
    let mut told_to = 0;
    let mut now = Span::ZERO;
    while now <= until {
        while let Some((min, told)) = story.get(told_to).filter(|(min, _)| Span::from_min(*min) <= now) {
            debug_assert!(Span::from_min(*min) <= now);
            told_to += 1;
            process.take(now, told.clone());
            if dies(&mut world, now, &mut crash) {
                process = restart(&mut world, story, now, leap);
                told_to = story.iter().filter(|(min, _)| Span::from_min(*min) < now.max(Span::from_ms(1))).count();
            }
        }
        let own = process.own(now);
        let Some(job) = process.desk.next(own, &|_| false) else {
            now = Span::from_ms(now.ms() + 1_000);
            continue;
        };
        let id = job.told.id.expect("every change of the story is stored");
        // Three effects: sent, taken in, stored; death may come between any two.
        world.got.push((id, now));
        let mut dead = dies(&mut world, now, &mut crash);
        if !dead {
            process.desk.done(own, job.serial, &Sent::Done);
            dead = dies(&mut world, now, &mut crash);
        }
        if !dead {
            let (way, outcome, at) = (WAY.to_owned(), SENT.to_owned(), process.wall(now));
            world.stored.push(Delivery { change: Some(id), way, attempt: job.attempt, at, outcome });
            dead = dies(&mut world, now, &mut crash);
        }
        if dead {
            now = Span::from_ms(now.ms() + 1_000);
            process = restart(&mut world, story, now, leap);
            told_to = story.iter().filter(|(min, _)| Span::from_min(*min) < now).count();
        }
    }
    world
}

fn dies(world: &mut World, now: Span, crash: &mut impl FnMut(u64) -> bool) -> bool {
    world.step += 1;
    let dies = crash(world.step);
    if dies {
        world.crashes.push(now);
    }
    dies
}

fn restart(world: &mut World, story: &Story, now: Span, leap: Span) -> Process {
    // What was handed over in this very second is stored, and found at the start.
    Process::start(world, story, Span::from_ms(now.ms() + 1), BEGIN.plus(now).plus(leap))
}

/// Dangers and warnings of which nobody heard, and messages that came twice without a crash to excuse it.
fn judged(story: &Story, world: &World) -> (u64, u64) {
    let (mut lost, mut doubled) = (0, 0);
    for (_, told) in story.iter().filter(|(_, t)| t.change.event == Event::Raised) {
        let id = told.id.unwrap_or(0);
        lost += u64::from(!world.got.iter().any(|(got, _)| *got == id));
    }
    for (_, told) in story {
        let id = told.id.unwrap_or(0);
        let times: Vec<Span> = world.got.iter().filter(|(got, _)| *got == id).map(|(_, at)| *at).collect();
        // A danger and an answered one are repeated on purpose, from two minutes on.
        let repeats = told.priority() == Priority::Danger && !told.ends();
        for two in times.windows(2) {
            let early = !repeats || two[1].ms() - two[0].ms() < 119_000;
            let excused = world.crashes.iter().filter(|at| (two[0]..=two[1]).contains(*at)).count();
            doubled += u64::from(early && excused == 0);
        }
        if !repeats {
            // Each crash may cost one repeat, and no more.
            let most = 1 + world.crashes.len();
            doubled += times.len().saturating_sub(most) as u64;
        }
    }
    (lost, doubled)
}

const UNTIL: Span = Span::from_min(40);

#[test]
fn without_a_crash_everything_is_told_as_it_should_be() {
    let story = story();
    let world = run(&story, UNTIL, |_| false, Span::ZERO);
    let minutes =
        |id| world.got.iter().filter(|(got, _)| *got == id).map(|(_, at)| at.ms() / 60_000).collect::<Vec<_>>();
    assert_eq!(minutes(1), [0, 2, 4, 6, 8, 10]);
    assert_eq!(minutes(5), [16, 21, 26], "answered, and still true");
    assert_eq!((minutes(2), minutes(4)), (vec![1], vec![5]));
    assert_eq!((minutes(6), minutes(7)), (vec![15], vec![29]), "whoever heard of a danger hears of its end");
    assert_eq!(judged(&story, &world), (0, 0));
}

#[test]
fn a_restart_between_any_two_effects_loses_nothing_and_costs_one_repeat_at_most() {
    let story = story();
    let whole = run(&story, UNTIL, |_| false, Span::ZERO);
    assert!(whole.step > 40, "the story has {} steps", whole.step);
    for leap in [Span::ZERO, Span::from_h(24), Span::from_h(-24)] {
        for step in 1..=whole.step {
            let world = run(&story, UNTIL, |at| at == step, leap);
            assert_eq!(world.crashes.len(), 1);
            assert_eq!(
                judged(&story, &world),
                (0, 0),
                "stopped after step {step}, the clock set by {leap:?}: {:?}",
                world.got
            );
            let more = world.got.len().saturating_sub(whole.got.len());
            assert!(more <= 2, "stopped after step {step}: {more} messages more than without");
        }
    }
}

#[test]
fn a_thousand_random_restarts_lose_nothing_and_double_nothing_that_a_crash_does_not_excuse() {
    let story = story();
    let mut dice = 20_260_301_u64;
    let (mut restarts, mut lost, mut doubled, mut repeats) = (0, 0, 0, 0);
    let whole = run(&story, UNTIL, |_| false, Span::ZERO).got.len();
    while restarts < 1_000 {
        let leap = Span::from_h([0, 0, 24, -24][restarts % 4]);
        let world = run(
            &story,
            UNTIL,
            |_| {
                // xorshift64 (Marsaglia 2003): one effect in twelve is the last.
                dice ^= dice << 13;
                dice ^= dice >> 7;
                dice ^= dice << 17;
                dice.is_multiple_of(12)
            },
            leap,
        );
        restarts += world.crashes.len();
        let (more_lost, more_doubled) = judged(&story, &world);
        (lost, doubled) = (lost + more_lost, doubled + more_doubled);
        repeats += world.got.len().saturating_sub(whole);
    }
    println!("{restarts} restarts: {lost} lost, {doubled} doubled, {repeats} repeats that a crash excuses");
    assert_eq!((lost, doubled), (0, 0));
}
