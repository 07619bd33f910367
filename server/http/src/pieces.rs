//! A JSON document that is sent piece by piece, as it is read from the database: however long it is, little of it is in memory.

use std::future::Future;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};

use actix_web::body::{BodySize, MessageBody};
use actix_web::rt;
use actix_web::web::Bytes;
use serde::Serialize;
use tokio::sync::mpsc;

use crate::problem::Problem;

/// Two pieces wait at most: whoever reads slowly makes the rest be read slowly.
const WAITING: usize = 2;

/// Why a document ends before its end.
#[derive(Debug)]
pub(crate) enum Cut {
    /// Nobody reads on.
    Unread,
    /// Something of ours failed.
    Failed(Problem),
}

impl From<Problem> for Cut {
    fn from(problem: Problem) -> Self {
        Self::Failed(problem)
    }
}

/// The document on its way out.
#[derive(Debug)]
pub(crate) struct Pieces {
    pieces: mpsc::Sender<io::Result<Bytes>>,
    /// Whether the list that is open has nothing in it yet.
    first: bool,
}

/// Begins a document that `write` writes to its end while it is being sent.
pub(crate) fn sent<W, F>(write: W) -> Sent
where
    W: FnOnce(Pieces) -> F,
    F: Future<Output = Result<(), Cut>> + 'static,
{
    let (pieces, body) = mpsc::channel(WAITING);
    let last = pieces.clone();
    let written = write(Pieces {
        pieces,
        first: true,
    });
    rt::spawn(async move {
        if let Err(Cut::Failed(problem)) = written.await {
            tracing::error!(%problem, "a document was cut short");
            // The line is cut with it, so that nobody takes what came for all there is.
            let cut = Err(io::Error::other("the rest can't be read"));
            drop(last.send(cut).await);
        }
    });
    Sent(body)
}

/// The body of an answer that nobody reads.
pub(crate) fn nothing() -> Sent {
    Sent(mpsc::channel(WAITING).1)
}

impl Pieces {
    /// Sends a part of the document as it is.
    ///
    /// # Errors
    ///
    /// [`Cut::Unread`] if nobody reads on.
    pub(crate) async fn text(&self, text: String) -> Result<(), Cut> {
        let sent = self.pieces.send(Ok(Bytes::from(text))).await;
        sent.map_err(|_| Cut::Unread)
    }

    /// Opens a list that is a field of the object that is being written, after others.
    ///
    /// # Errors
    ///
    /// [`Cut::Unread`] if nobody reads on.
    pub(crate) async fn open(&mut self, name: &str) -> Result<(), Cut> {
        self.first = true;
        self.text(format!(",\"{name}\":[")).await
    }

    /// Sends items of the list that is open.
    ///
    /// # Errors
    ///
    /// [`Cut`].
    pub(crate) async fn items<T: Serialize>(&mut self, items: &[T]) -> Result<(), Cut> {
        let mut text = String::new();
        for item in items {
            if !std::mem::take(&mut self.first) {
                text.push(',');
            }
            text.push_str(&serde_json::to_string(item).map_err(Problem::internal)?);
        }
        if text.is_empty() {
            return Ok(());
        }
        self.text(text).await
    }

    /// Closes the list.
    ///
    /// # Errors
    ///
    /// [`Cut::Unread`] if nobody reads on.
    pub(crate) async fn close(&self) -> Result<(), Cut> {
        self.text("]".to_owned()).await
    }
}

/// The body that comes in pieces.
#[derive(Debug)]
pub(crate) struct Sent(mpsc::Receiver<io::Result<Bytes>>);

impl MessageBody for Sent {
    type Error = io::Error;

    fn size(&self) -> BodySize {
        BodySize::Stream
    }

    fn poll_next(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<io::Result<Bytes>>> {
        self.0.poll_recv(context)
    }
}
