//! Where things are, as the shelf file says it: for pages that tell a keeper where to run and what to write.
use crate::shelf_file::{BrokerWay, ShelfFile};
use dashboards::{AlarmView, Tone, say};
use std::net::SocketAddr;
use std::path::PathBuf;

/// Where the broker is.
#[derive(Clone, Debug)]
enum Broker {
    /// Our own; `None`: at a port that only the log knows.
    Own(Option<SocketAddr>),
    Outside(String, u16),
}

/// What of the shelf file the pages show.
#[derive(Clone, Debug)]
pub(crate) struct Places {
    /// The shelf file.
    pub(super) file: PathBuf,
    /// What it says.
    pub(super) text: String,
    broker: Broker,
    /// Where nodes publish: their name goes where NODE stands.
    topic: String,
    shelf: Option<String>,
    plugs: Vec<(String, String)>,
}

impl Places {
    pub(crate) fn of_file(file: &ShelfFile) -> Self {
        let broker = match &file.broker.way {
            BrokerWay::Embedded { listen, .. } => Broker::Own((listen.port() != 0).then_some(*listen)),
            BrokerWay::Outside { host, port, .. } => Broker::Outside(host.clone(), *port),
        };
        let plug = |p: &crate::shelf_file::Plug| Some((file.shelf.nests.get(p.nest)?.id.clone(), p.plug.clone()?));
        Self {
            file: file.path.clone(),
            text: file.text.clone(),
            topic: format!("{}/NODE/senml", file.broker.prefix),
            broker,
            shelf: file.place.clone(),
            plugs: file.plugs.iter().filter_map(plug).collect(),
        }
    }

    /// Dangers with where they are.
    pub(super) fn placed(&self, alarms: Vec<AlarmView>) -> Vec<AlarmView> {
        let placed = |a: AlarmView| match a.tone {
            Tone::Danger => AlarmView { place: self.of(a.nests.first()), ..a },
            _ => a,
        };
        alarms.into_iter().map(placed).collect()
    }

    /// Where to run to for an alarm of a nest, and which plugs are the nest's.
    pub(super) fn of(&self, nest: Option<&String>) -> Vec<String> {
        let own = self.plugs.iter().filter(|(known, _)| nest == Some(known));
        let own = own.map(|(_, plug)| say!("place-plug", plug = plug));
        self.shelf.clone().into_iter().chain(own).collect()
    }

    /// The broker, in words.
    pub(super) fn broker(&self) -> String {
        match &self.broker {
            Broker::Own(None) => say!("broker-own-unknown"),
            Broker::Own(Some(at)) => say!("broker-own", at = at.to_string()),
            Broker::Outside(host, port) => say!("broker-outside", host = host, port = *port),
        }
    }

    /// Where nodes publish, in words.
    pub(super) fn nodes_publish(&self) -> String {
        say!("broker-topic", topic = &self.topic, broker = self.broker())
    }
}
