//! Where things are, as the shelf file says it: for pages that tell a keeper where to run and what to write.
use crate::shelf_file::{BrokerWay, ShelfFile};
use crate::snapshot::AlarmName;
use std::path::PathBuf;

/// What of the shelf file the pages show.
#[derive(Clone, Debug, Default)]
pub(crate) struct Places {
    /// The shelf file.
    pub(super) file: PathBuf,
    /// What it says.
    pub(super) text: String,
    /// The broker, in words.
    pub(super) broker: String,
    /// Where nodes publish, in words.
    pub(super) nodes_publish: String,
    shelf: Option<String>,
    plugs: Vec<(String, String)>,
}

impl Places {
    pub(crate) fn of_file(file: &ShelfFile) -> Self {
        let broker = match &file.broker.way {
            BrokerWay::Embedded { listen, .. } if listen.port() == 0 => {
                "this watch's own; its log says where".to_owned()
            }
            BrokerWay::Embedded { listen, .. } => format!("this watch's own at {listen}"),
            BrokerWay::Outside { host, port, .. } => format!("{host}, port {port}"),
        };
        let plug = |p: &crate::shelf_file::Plug| {
            Some((file.shelf.nests.get(p.nest)?.id.clone(), format!("plug: {}", p.plug.as_ref()?)))
        };
        Self {
            file: file.path.clone(),
            text: file.text.clone(),
            nodes_publish: format!("the topic {}/NODE/senml of the broker ({broker})", file.broker.prefix),
            broker,
            shelf: file.place.clone(),
            plugs: file.plugs.iter().filter_map(plug).collect(),
        }
    }

    /// Where to run to for an alarm, and which plugs are its nest's.
    pub(super) fn of(&self, name: &AlarmName) -> Vec<String> {
        let own = self.plugs.iter().filter(|(nest, _)| name.nest.as_ref() == Some(nest)).map(|(_, plug)| plug.clone());
        self.shelf.clone().into_iter().chain(own).collect()
    }
}
