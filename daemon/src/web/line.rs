//! Connections, plain or secret: so many at once, and none that is silent for ever.
use super::access::Peer;
use super::{ANSWER_WITHIN, CONNECTIONS_MAX};
use axum::extract::connect_info::Connected;
use axum::serve::{IncomingStream, Listener};
use rustls::ServerConfig;
use std::future::Future as _;
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
use tokio_rustls::server::TlsStream;
use tokio_rustls::{Accept, TlsAcceptor};

/// A connection over which nothing passed for so long is closed. A live page gets a word every 15 s.
const SILENT_FOR: Duration = Duration::from_secs(60);
/// From a request's first byte to the first of its answer: a head that comes a byte a minute holds no place for longer.
const ASKED_WITHIN: Duration = Duration::from_secs(10).saturating_add(ANSWER_WITHIN);

/// A listener that accepts only while there is room.
pub(super) struct Line {
    listener: TcpListener,
    tls: Option<TlsAcceptor>,
    room: Arc<Semaphore>,
    asked_within: Duration,
}

impl Line {
    pub(super) fn new(listener: TcpListener, tls: Option<Arc<ServerConfig>>) -> Self {
        let tls = tls.map(TlsAcceptor::from);
        Self { listener, tls, room: Arc::new(Semaphore::new(CONNECTIONS_MAX)), asked_within: ASKED_WITHIN }
    }

    /// The same, less patient.
    #[cfg(test)]
    pub(super) fn asked_within(self, asked_within: Duration) -> Self {
        Self { asked_within, ..self }
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
        // Greetings are exchanged by the connection's own task: a slow one holds up nobody else.
        let wire = match &self.tls {
            Some(tls) => Wire::Greeting(Box::new(tls.accept(stream))),
            None => Wire::Plain(stream),
        };
        let silent = Box::pin(sleep(SILENT_FOR));
        (Call { wire, silent, stirred: false, asked: None, asked_within: self.asked_within, _place: place }, from)
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.listener.local_addr()
    }
}

impl Connected<IncomingStream<'_, Line>> for Peer {
    fn connect_info(stream: IncomingStream<'_, Line>) -> Self {
        Self(*stream.remote_addr())
    }
}

/// What carries the bytes.
enum Wire {
    Plain(TcpStream),
    Greeting(Box<Accept<TcpStream>>),
    Secret(Box<TlsStream<TcpStream>>),
}

/// What bytes go through once greetings are over.
trait Carries: AsyncRead + AsyncWrite + Unpin {}
impl<T: AsyncRead + AsyncWrite + Unpin> Carries for T {}

impl Wire {
    /// The stream, once greetings are over.
    fn poll_open(&mut self, cx: &mut Context<'_>) -> Poll<io::Result<Pin<&mut dyn Carries>>> {
        if let Self::Greeting(greeting) = self {
            match Pin::new(greeting.as_mut()).poll(cx) {
                Poll::Pending => return Poll::Pending,
                Poll::Ready(Err(e)) => return Poll::Ready(Err(e)),
                Poll::Ready(Ok(stream)) => *self = Self::Secret(Box::new(stream)),
            }
        }
        match self {
            Self::Plain(stream) => Poll::Ready(Ok(Pin::new(stream))),
            Self::Secret(stream) => Poll::Ready(Ok(Pin::new(stream.as_mut()))),
            Self::Greeting(_) => Poll::Pending,
        }
    }
}

/// One connection.
pub(super) struct Call {
    wire: Wire,
    silent: Pin<Box<Sleep>>,
    /// Something passed since the timer was set.
    stirred: bool,
    /// Something was asked and nothing answered yet: until when it may.
    asked: Option<Pin<Box<Sleep>>>,
    asked_within: Duration,
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

impl Call {
    /// Whether somebody takes too long to ask, or we to answer.
    fn is_overdue(&mut self, cx: &mut Context<'_>) -> bool {
        self.asked.as_mut().is_some_and(|until| until.as_mut().poll(cx).is_ready())
    }

    /// Does something with the stream; while that has to wait, silence is watched.
    fn poll_with<T>(
        &mut self,
        cx: &mut Context<'_>,
        watched: bool,
        work: impl FnOnce(Pin<&mut dyn Carries>, &mut Context<'_>) -> Poll<io::Result<T>>,
    ) -> Poll<io::Result<T>> {
        let done = match self.wire.poll_open(cx) {
            Poll::Ready(Ok(stream)) => work(stream, cx),
            Poll::Ready(Err(e)) => Poll::Ready(Err(e)),
            Poll::Pending => Poll::Pending,
        };
        match done {
            Poll::Ready(done) => {
                self.stirred |= watched;
                Poll::Ready(done)
            }
            Poll::Pending if watched && self.is_silent(cx) => Poll::Ready(Err(io::ErrorKind::TimedOut.into())),
            Poll::Pending => Poll::Pending,
        }
    }
}

impl AsyncRead for Call {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        if self.is_overdue(cx) {
            return Poll::Ready(Err(io::ErrorKind::TimedOut.into()));
        }
        let before = buf.filled().len();
        let read = self.poll_with(cx, true, |stream, cx| stream.poll_read(cx, buf));
        if buf.filled().len() > before && self.asked.is_none() {
            self.asked = Some(Box::pin(sleep(self.asked_within)));
        }
        read
    }
}

impl AsyncWrite for Call {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &[u8]) -> Poll<io::Result<usize>> {
        let written = self.poll_with(cx, true, |stream, cx| stream.poll_write(cx, buf));
        if matches!(written, Poll::Ready(Ok(1..))) {
            self.asked = None;
        }
        written
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        #[expect(clippy::redundant_closure_for_method_calls, reason = "the method itself holds for one lifetime only")]
        self.poll_with(cx, false, |stream, cx| stream.poll_flush(cx))
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        #[expect(clippy::redundant_closure_for_method_calls, reason = "the method itself holds for one lifetime only")]
        self.poll_with(cx, false, |stream, cx| stream.poll_shutdown(cx))
    }
}
