//! Connections: so many at once, and none that is silent for ever.
use super::CONNECTIONS_MAX;
use axum::serve::Listener;
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::{Sleep, sleep};

/// A connection over which nothing passed for so long is closed. A live page gets a word every 15 s.
const SILENT_FOR: Duration = Duration::from_secs(60);

/// A listener that accepts only while there is room.
pub(super) struct Line {
    listener: TcpListener,
    room: Arc<Semaphore>,
}

impl Line {
    pub(super) fn new(listener: TcpListener) -> Self {
        Self { listener, room: Arc::new(Semaphore::new(CONNECTIONS_MAX)) }
    }
}

impl Listener for Line {
    type Io = Call;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Call, SocketAddr) {
        // The semaphore is never closed; were it, connections would go uncounted rather than unanswered.
        let place = Arc::clone(&self.room).acquire_owned().await.ok();
        // axum's own listener logs a failed accept and tries again.
        let (stream, from) = Listener::accept(&mut self.listener).await;
        (Call { stream, silent: Box::pin(sleep(SILENT_FOR)), stirred: false, _place: place }, from)
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.listener.local_addr()
    }
}

/// One connection.
pub(super) struct Call {
    stream: TcpStream,
    silent: Pin<Box<Sleep>>,
    /// Something passed since the timer was set.
    stirred: bool,
    _place: Option<OwnedSemaphorePermit>,
}

impl Call {
    /// Whether nothing passed for too long. The timer is set anew only when it runs out: not at every byte.
    fn is_silent(&mut self, cx: &mut Context<'_>) -> bool {
        while self.silent.as_mut().poll(cx).is_ready() {
            if !self.stirred {
                return true;
            }
            self.stirred = false;
            self.silent = Box::pin(sleep(SILENT_FOR));
        }
        false
    }
}

impl AsyncRead for Call {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        match Pin::new(&mut self.stream).poll_read(cx, buf) {
            Poll::Ready(done) => {
                self.stirred = true;
                Poll::Ready(done)
            }
            Poll::Pending if self.is_silent(cx) => Poll::Ready(Err(io::ErrorKind::TimedOut.into())),
            Poll::Pending => Poll::Pending,
        }
    }
}

impl AsyncWrite for Call {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &[u8]) -> Poll<io::Result<usize>> {
        match Pin::new(&mut self.stream).poll_write(cx, buf) {
            Poll::Ready(done) => {
                self.stirred = true;
                Poll::Ready(done)
            }
            Poll::Pending if self.is_silent(cx) => Poll::Ready(Err(io::ErrorKind::TimedOut.into())),
            Poll::Pending => Poll::Pending,
        }
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}
