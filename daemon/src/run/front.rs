//! What the parts share that people or other machines look at, handed out to each.
use super::{NoticeParts, WebParts};
use crate::clock::Clock;
use crate::history::Writer;
use crate::intake::Publisher;
use crate::mirror;
use crate::notices::Answering;
use crate::shelf_file::ShelfFile;
use crate::snapshot::{Act, Sent, Snapshot, Told};
use crate::web::Access;
use rustls::ServerConfig;
use std::path::PathBuf;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;

/// What all parts get that people or other machines look at.
pub(super) struct Front {
    pub(super) snapshots: watch::Receiver<Arc<Snapshot>>,
    pub(super) acts: mpsc::Sender<Act>,
    pub(super) history: PathBuf,
    pub(super) file: Arc<ShelfFile>,
    pub(super) answering: Arc<Answering>,
    pub(super) clock: Arc<dyn Clock>,
    pub(super) stop: CancellationToken,
}

impl Front {
    pub(super) fn mirror(&self, writer: &Arc<Writer>, stop: &CancellationToken) -> mirror::Parts {
        mirror::Parts {
            history: self.history.clone(),
            writer: Arc::clone(writer),
            snapshots: self.snapshots.clone(),
            clock: Arc::clone(&self.clock),
            stop: stop.clone(),
        }
    }

    pub(super) fn web(
        &self,
        listener: TcpListener,
        (tls, local, access): (Option<Arc<ServerConfig>>, Option<TcpListener>, Access),
    ) -> WebParts {
        WebParts {
            listener,
            tls,
            local,
            access,
            snapshots: self.snapshots.clone(),
            acts: self.acts.clone(),
            history: self.history.clone(),
            file: Arc::clone(&self.file),
            answering: Arc::clone(&self.answering),
            clock: Arc::clone(&self.clock),
            stop: self.stop.clone(),
        }
    }

    pub(super) fn notices(
        &self,
        (told, sent): (mpsc::Receiver<Told>, mpsc::Sender<Sent>),
        publisher: Publisher,
    ) -> NoticeParts {
        NoticeParts {
            told,
            sent,
            snapshots: self.snapshots.clone(),
            publisher,
            file: Arc::clone(&self.file),
            answering: Arc::clone(&self.answering),
            acts: self.acts.clone(),
            clock: Arc::clone(&self.clock),
            stop: self.stop.clone(),
        }
    }
}
