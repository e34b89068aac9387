//! How long a body may take: a sender that holds a connection open with a byte now and then is sent away.

use std::future::Future;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use actix_web::dev::{Payload, ServiceRequest, ServiceResponse};
use actix_web::error::PayloadError;
use actix_web::http::header;
use actix_web::middleware::Next;
use actix_web::rt::time::{Instant, Sleep, sleep_until};
use actix_web::web::Bytes;
use actix_web::{Error, HttpMessage, body::MessageBody, web};
use futures_util::Stream;

use super::State;

/// A body has its sender's patience, and a second for each so many bytes that came.
const BYTES_PER_SECOND: u64 = 1024;

/// A body that ends with an error when its time is over.
struct Timed {
    body: Payload,
    began: Instant,
    patience: Duration,
    received: u64,
    over: Pin<Box<Sleep>>,
}

impl Stream for Timed {
    type Item = Result<Bytes, PayloadError>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        let polled = Pin::new(&mut self.body).poll_next(context);
        if let Poll::Ready(Some(Ok(bytes))) = &polled {
            self.received += bytes.len() as u64;
            let until = self.began + self.patience + Duration::from_secs(self.received / BYTES_PER_SECOND);
            self.over.as_mut().reset(until);
        }
        match polled {
            Poll::Pending => self.over.as_mut().poll(context).map(|()| Some(Err(too_slow()))),
            ready => ready,
        }
    }
}

fn too_slow() -> PayloadError {
    PayloadError::Io(std::io::ErrorKind::TimedOut.into())
}

/// Whether receiving failed because a body took too long.
pub fn is_too_slow(error: &(dyn std::error::Error + 'static)) -> bool {
    let mut at = Some(error);
    while let Some(error) = at {
        if let Some(PayloadError::Io(error)) = error.downcast_ref() {
            return error.kind() == std::io::ErrorKind::TimedOut;
        }
        at = error.source();
    }
    false
}

/// Gives each body its time.
pub async fn apply(
    mut request: ServiceRequest,
    next: Next<impl MessageBody>,
) -> Result<ServiceResponse<impl MessageBody>, Error> {
    let headers = request.headers();
    let has_body = headers.contains_key(header::TRANSFER_ENCODING)
        || headers.get(header::CONTENT_LENGTH).is_some_and(|length| length != "0");
    if let (true, Some(state)) = (has_body, request.app_data::<web::Data<State>>().cloned()) {
        let (began, patience) = (Instant::now(), state.patience);
        let over = Box::pin(sleep_until(began + patience));
        let timed = Timed { body: request.take_payload(), began, patience, received: 0, over };
        request.set_payload(Payload::Stream { payload: Box::pin(timed) });
    }
    next.call(request).await
}
