//! Words for what dims the eyes of the watch, and for the watch itself. Whoever reads them may know neither node nor
//! broker: each is said in other words once.
use super::Words;
use dashboards::say;
use enclosure::Alarm;

/// Every probe of the shelf fell silent at once: that is told once, without a nest.
pub(in super::super) fn all_silent() -> Words {
    Words {
        what: say!("told-all-silent-what"),
        short: say!("told-all-silent-short"),
        first: say!("told-all-silent-first"),
        steps: vec![say!("told-all-silent-step-1"), say!("told-all-silent-step-2"), say!("told-all-silent-step-3")],
        sure: say!("told-all-silent-sure"),
        brood: say!("told-all-silent-brood"),
    }
}

/// The watch over another shelf gives no sign of life.
pub(in super::super) fn elsewhere() -> Words {
    Words {
        what: say!("told-elsewhere-what"),
        short: say!("told-elsewhere-short"),
        first: say!("told-elsewhere-first"),
        steps: vec![say!("told-elsewhere-step-1"), say!("told-elsewhere-step-2")],
        sure: say!("told-elsewhere-sure"),
        brood: say!("told-elsewhere-brood"),
    }
}

pub(super) fn eyes(alarm: Alarm) -> Words {
    match alarm {
        Alarm::ProbeSilent => Words {
            what: say!("told-probe-silent-what"),
            short: say!("told-probe-silent-short"),
            first: say!("told-probe-silent-first"),
            steps: vec![say!("told-probe-silent-step-1")],
            sure: say!("told-probe-silent-sure"),
            brood: say!("told-one-eye-fewer"),
        },
        Alarm::ProbeImplausible => Words {
            what: say!("told-probe-implausible-what"),
            short: say!("told-probe-implausible-short"),
            first: say!("told-probe-implausible-first"),
            steps: vec![say!("told-probe-implausible-step-1")],
            sure: say!("told-probe-implausible-sure"),
            brood: say!("told-one-eye-fewer"),
        },
        Alarm::NestUnwatched => Words {
            what: say!("told-nest-unwatched-what"),
            short: say!("told-nest-unwatched-short"),
            first: say!("told-nest-unwatched-first"),
            steps: vec![
                say!("told-nest-unwatched-step-1"),
                say!("told-nest-unwatched-step-2"),
                say!("told-nest-unwatched-step-3"),
            ],
            sure: say!("told-nest-unwatched-sure"),
            brood: say!("told-nest-unwatched-brood"),
        },
        _ => Words {
            what: say!("told-node-silent-what"),
            short: say!("told-node-silent-short"),
            first: say!("told-node-silent-first"),
            steps: vec![say!("told-node-silent-step-1"), say!("told-network")],
            sure: say!("told-node-silent-sure"),
            brood: say!("told-node-silent-brood"),
        },
    }
}

pub(super) fn own(alarm: Alarm) -> Words {
    match alarm {
        Alarm::WatchGap => Words {
            what: say!("alarm-watch-gap"),
            short: say!("told-watch-gap-short"),
            first: say!("told-look-at-nests"),
            steps: vec![say!("told-watch-gap-step-1"), say!("told-watch-gap-step-2")],
            sure: say!("told-watch-gap-sure"),
            brood: say!("told-watch-gap-brood"),
        },
        Alarm::BrokerLost => Words {
            what: say!("told-broker-lost-what"),
            short: say!("told-broker-lost-short"),
            first: say!("told-look-at-nests"),
            steps: vec![say!("told-broker-lost-step-1"), say!("told-broker-lost-step-2")],
            sure: say!("told-broker-lost-sure"),
            brood: say!("told-broker-lost-brood"),
        },
        Alarm::HistoryFailing => Words {
            what: say!("alarm-history-failing"),
            short: say!("told-history-failing-short"),
            first: say!("told-history-failing-first"),
            steps: vec![
                say!("told-history-failing-step-1"),
                say!("told-history-failing-step-2"),
                say!("told-history-failing-step-3"),
            ],
            sure: say!("told-history-failing-sure"),
            brood: say!("told-history-failing-brood"),
        },
        Alarm::NoticeFailing => Words {
            what: say!("alarm-notice-failing"),
            short: say!("told-notice-failing-short"),
            first: say!("told-notice-failing-first"),
            steps: vec![say!("told-notice-failing-step-1"), say!("told-notice-failing-step-2")],
            sure: say!("told-notice-failing-sure"),
            brood: say!("told-notice-failing-brood"),
        },
        _ => Words {
            what: say!("alarm-clock-jumped"),
            short: say!("told-clock-jumped-short"),
            first: say!("told-clock-jumped-first"),
            steps: vec![say!("told-clock-jumped-step-1")],
            sure: say!("told-clock-jumped-sure"),
            brood: say!("told-clock-jumped-brood"),
        },
    }
}
