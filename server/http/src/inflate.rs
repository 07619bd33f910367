//! Requests that come compressed. They are unpacked here, before any handler, and never into more than a body may have:
//! a few bytes that would swell to gigabytes are refused while they are read.

use std::io::Read;

use actix_http::h1;
use actix_web::Error;
use actix_web::body::MessageBody;
use actix_web::dev::{Payload, ServiceRequest, ServiceResponse};
use actix_web::http::header::{CONTENT_ENCODING, CONTENT_LENGTH, HeaderMap, HeaderValue};
use actix_web::middleware::Next;
use actix_web::web;
use flate2::read::MultiGzDecoder;

use crate::app::LARGEST_BODY;
use crate::body;
use crate::problem::{Kind, Problem};

/// Unpacks the body of a request that says it is packed.
pub(crate) async fn inflate(
    mut request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<impl MessageBody>, Error> {
    if is_packed(request.headers())? {
        let packed = body::whole(request.extract::<web::Payload>().await?, LARGEST_BODY).await?;
        let plain = web::block(move || unpacked(&packed, LARGEST_BODY)).await??;
        let headers = &mut request.head_mut().headers;
        headers.remove(CONTENT_ENCODING);
        headers.insert(CONTENT_LENGTH, HeaderValue::from(plain.len()));
        request.set_payload(of_bytes(plain));
    }
    next.call(request).await
}

/// Whether a body is packed with gzip. Other ways of packing are refused.
fn is_packed(headers: &HeaderMap) -> Result<bool, Problem> {
    let Some(encoding) = headers.get(CONTENT_ENCODING) else {
        return Ok(false);
    };
    match encoding.to_str().map(str::trim) {
        Ok(name) if name.eq_ignore_ascii_case("identity") => Ok(false),
        Ok(name) if name.eq_ignore_ascii_case("gzip") => Ok(true),
        _ => Err(Problem::new(
            Kind::UnsupportedMediaType,
            "a body may be packed with gzip, or not at all",
        )),
    }
}

/// What gzip packed, up to `limit` bytes.
fn unpacked(packed: &[u8], limit: usize) -> Result<Vec<u8>, Problem> {
    let mut plain = Vec::new();
    let most = u64::try_from(limit).unwrap_or(u64::MAX);
    MultiGzDecoder::new(packed)
        .take(most.saturating_add(1))
        .read_to_end(&mut plain)
        .map_err(|error| Problem::new(Kind::Malformed, format!("not packed with gzip: {error}")))?;
    if plain.len() > limit {
        let said = format!("at most {limit} bytes, once unpacked");
        return Err(Problem::new(Kind::TooLarge, said));
    }
    Ok(plain)
}

fn of_bytes(bytes: Vec<u8>) -> Payload {
    let (_, mut payload) = h1::Payload::create(true);
    payload.unread_data(bytes.into());
    Payload::from(payload)
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use flate2::Compression;
    use flate2::write::GzEncoder;

    use super::*;

    fn packed(bytes: &[u8]) -> Vec<u8> {
        let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
        encoder.write_all(bytes).expect("packed");
        encoder.finish().expect("packed")
    }

    #[test]
    fn what_swells_beyond_the_limit_is_refused_and_the_limit_itself_is_not() {
        let limit = 100_000;
        let kind = |bytes: &[u8]| unpacked(bytes, limit).expect_err("refused").kind();
        assert_eq!(
            unpacked(&packed(&vec![b' '; limit]), limit).expect("fits"),
            vec![b' '; limit]
        );
        assert_eq!(kind(&packed(&vec![b' '; limit + 1])), Kind::TooLarge);
        // Members one after the other count together.
        let twice = packed(&vec![b' '; limit]).repeat(2);
        assert_eq!(kind(&twice), Kind::TooLarge);
        let whole = packed(b"{}");
        for cut in [0, 1, 5, whole.len() - 1] {
            assert_eq!(kind(&whole[..cut]), Kind::Malformed, "{cut}");
        }
        assert_eq!(kind(b"{\"events\": []}"), Kind::Malformed);
    }
}
