//! Words for what dims the eyes of the watch, and for the watch itself. Whoever reads them may know neither node nor
//! broker: each is said in other words once.
use super::Words;
use enclosure::Alarm;

/// Every probe of the shelf fell silent at once: that is told once, without a nest.
pub(in super::super) const ALL_SILENT: Words = Words {
    what: "every probe fell silent at once",
    short: "all is silent",
    first: "Is the power on?",
    steps: &[
        "See whether the power is on: a power cut, a fuse, a switched strip. The heating may be off with it.",
        "If the power is on, see whether the network works.",
        "Look at the nests; do not warm them with anything that nobody watches.",
    ],
    sure: "Certain that nothing is heard. A power cut and a broken network look alike from here.",
    brood: "Unknown until probes speak again. Most colonies bear some hours of cold.",
};

/// The watch over another shelf gives no sign of life.
pub(in super::super) const ELSEWHERE: Words = Words {
    what: "another shelf's watch is silent",
    short: "other watch silent",
    first: "Look there",
    steps: &[
        "Look at the nests of that shelf: nobody may be watching them.",
        "Then see whether the machine that watches them has power, and whether the network works.",
    ],
    sure: "Certain that its signs of life stopped. Whether it still watches is unknown.",
    brood: "Unknown there. That is not the same as well.",
};

pub(super) const fn eyes(alarm: Alarm) -> Words {
    match alarm {
        Alarm::ProbeSilent => Words {
            what: "a probe has gone silent",
            short: "a probe is silent",
            first: "Look at its cable",
            steps: &["See whether its cable sits at both ends, and whether the small box that it leads to has power."],
            sure: "Certain: nothing came for longer than the probe ever took.",
            brood: "Nothing is known to be wrong with the brood, but there is one eye fewer on it.",
        },
        Alarm::ProbeImplausible => Words {
            what: "a probe says what cannot be right",
            short: "probe in doubt",
            first: "Look where it sits",
            steps: &["See whether it still sits where it should, dry and not on the heating mat."],
            sure: "From the other probes and what the nest can do; they may all be wrong.",
            brood: "Nothing is known to be wrong with the brood, but there is one eye fewer on it.",
        },
        Alarm::NestUnwatched => Words {
            what: "nobody sees how warm it is",
            short: "nobody sees the nest",
            first: "Go and look",
            steps: &[
                "Look at the nest and feel how warm it is beside the heating mat, not on it.",
                "See whether the small box that its probes lead to has power, and whether the network works.",
                "If you cannot look for hours, have the heating mat unplugged.",
            ],
            sure: "Certain: no reading that can be believed came for ten minutes or more.",
            brood: "Unknown. That is not the same as well.",
        },
        _ => Words {
            what: "the node of its probes is silent",
            short: "a node is silent",
            first: "Look at its power",
            steps: &[
                "The node is the small box that the probes lead to. See whether it has power.",
                "See whether the network works.",
            ],
            sure: "Certain: nothing that hangs on it was heard.",
            brood: "Unknown until it speaks again.",
        },
    }
}

pub(super) const fn own(alarm: Alarm) -> Words {
    match alarm {
        Alarm::WatchGap => Words {
            what: "nothing was watched for a while",
            short: "nothing watched",
            first: "Look at the nests",
            steps: &[
                "Look at the nests, and whether the heating came back as it should.",
                "The page of the week shows what is believed to have happened meanwhile.",
            ],
            sure: "Certain that nothing was watched; what happened meanwhile is worked out afterwards.",
            brood: "Unknown for that time.",
        },
        Alarm::BrokerLost => Words {
            what: "no readings arrive any more",
            short: "no readings come",
            first: "Look at the nests",
            steps: &[
                "Until readings arrive nobody watches: look at the nests yourself.",
                "The broker, the program that passes readings on, is out of reach: see whether it runs, and whether the \
                 network works.",
            ],
            sure: "Certain: the connection failed.",
            brood: "Unknown while no reading arrives. That is not the same as well.",
        },
        Alarm::HistoryFailing => Words {
            what: "history is not kept as it should be",
            short: "history fails",
            first: "Look at its disk",
            steps: &[
                "See whether the disk of the machine that watches is full or failing.",
                "Judging and messages go on meanwhile, and nodes keep their readings.",
                "If a damaged file was set aside, copy that and a backup (warmend export --backup) to another disk.",
            ],
            sure: "Certain: writing failed, or what was written is damaged.",
            brood: "Nothing is known to be wrong with the brood.",
        },
        Alarm::NoticeFailing => Words {
            what: "messages do not get out",
            short: "messages fail",
            first: "Look at the page",
            steps: &[
                "If you are not the keeper, tell them that a way of messages fails.",
                "See whether the way works: `warmend alarms test`. Until then look at the page yourself.",
            ],
            sure: "Certain: sending failed.",
            brood: "Nothing is known to be wrong with the brood, but you may not be told.",
        },
        _ => Words {
            what: "the clock jumped",
            short: "the clock jumped",
            first: "Look at the clock",
            steps: &["See whether the machine's clock is right, and whether a time server is reached."],
            sure: "Certain: the clock and the time that passed do not agree.",
            brood: "Nothing is known to be wrong with the brood; hours in history may be wrong.",
        },
    }
}
