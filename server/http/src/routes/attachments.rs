//! Photos and documents of a horse, named by the hash of their bytes.

use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, ETAG, IF_NONE_MATCH};
use actix_web::web::{Data, Path, Payload};
use actix_web::{HttpRequest, HttpResponse, get, post};
use whorl_care::ids::{AccountId, HorseId};
use whorl_care::reading::Way;
use whorl_contract::attachment::{Attachment, LARGEST, MEDIA_TYPES};
use whorl_contract::key::Hash;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::attachments::{self, AttachmentRow};
use whorl_store::horses::HorseRow;
use whorl_store::{Db, StoreError, events};

use crate::access::{self, Access};
use crate::body;
use crate::caller::Caller;
use crate::log_view;
use crate::problem::{Kind, Problem};
use crate::readings::By;
use crate::state::State;

/// What the bytes are by how they begin; `None` for anything that isn't taken.
fn sniffed(bytes: &[u8]) -> Option<&'static str> {
    let webp = bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP");
    match bytes {
        [0xff, 0xd8, 0xff, ..] => Some("image/jpeg"),
        [0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a, ..] => Some("image/png"),
        [b'%', b'P', b'D', b'F', b'-', ..] => Some("application/pdf"),
        _ if webp => Some("image/webp"),
        _ => None,
    }
}

/// A name for the file when it is kept.
fn file_name(row: &AttachmentRow) -> String {
    let ending = row.media_type.rsplit('/').next().unwrap_or("bin");
    format!("{}.{ending}", row.sha256)
}

fn is_hex(text: &str) -> bool {
    text.len() == 64
        && text
            .bytes()
            .all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'))
}

fn view(row: &AttachmentRow) -> Attachment {
    Attachment {
        sha256: row.sha256.clone(),
        media_type: row.media_type.clone(),
        bytes: u64::try_from(row.bytes).unwrap_or(0),
        uploaded_by: row.uploaded_by,
        created_at: row.created_at.and_utc(),
    }
}

/// Checks that somebody has a say on the horse, and not only the sight of what once was theirs.
fn check_may_bring((_, access): &(HorseRow, Access)) -> Result<(), Problem> {
    if access.is_in_force() {
        return Ok(());
    }
    Err(Problem::new(
        Kind::Forbidden,
        "you may only read this horse's record",
    ))
}

/// Brings a photo or document of a horse: JPEG, PNG, WebP or PDF, at most 16 MiB. Bringing it again changes nothing.
///
/// The bytes are kept as they come, since their hash is what a signed event names: whatever a photo tells of the place
/// where it was taken must be removed before.
#[utoipa::path(
    tag = "horses",
    params(("horse" = HorseId, Path, description = "The horse")),
    request_body(content((Vec<u8> = "image/jpeg"), (Vec<u8> = "image/png"), (Vec<u8> = "image/webp"), (Vec<u8> = "application/pdf"))),
    responses(
        (status = 201, description = "The attachment; name it from an event by its hash", body = Attachment),
        (status = 200, description = "It was there before", body = Attachment),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/horses/{horse}/attachments")]
pub(crate) async fn add_attachment(
    state: Data<State>,
    caller: Caller,
    horse: Path<HorseId>,
    request: HttpRequest,
    body: Payload,
) -> Result<HttpResponse, Problem> {
    let (now, horse) = (state.clock.now(), *horse);
    let allowed = move |db: &mut Db| {
        check_may_bring(&access::horse(db, caller.account, horse, now)?)?;
        Ok::<_, Problem>(())
    };
    // Asked before the body is read, so that a stranger can't make the server read 16 MiB.
    state.read(allowed).await?;
    let media_type = body::media_type(&request);
    if !MEDIA_TYPES.contains(&media_type.as_str()) {
        return Err(Problem::new(
            Kind::UnsupportedMediaType,
            format!("send one of {}", MEDIA_TYPES.join(", ")),
        ));
    }
    let body = body::whole(body, LARGEST).await?;
    if sniffed(&body) != Some(media_type.as_str()) {
        return Err(Problem::new(
            Kind::UnsupportedMediaType,
            format!("the bytes are not those of {media_type}"),
        ));
    }
    let row = AttachmentRow {
        horse_id: horse,
        sha256: Hash::of(&[&body]).to_hex(),
        media_type,
        bytes: i64::try_from(body.len()).unwrap_or(i64::MAX),
        uploaded_by: caller.account,
        created_at: now.naive_utc(),
        body: body.to_vec(),
    };
    let (added, attachment) = state
        .write(move |db| {
            allowed(db)?;
            let mut brought = view(&row);
            let added = attachments::add(db, row)?;
            if !added {
                brought = view(&attachments::get(db, horse, &brought.sha256)?);
            }
            Ok::<_, Problem>((added, brought))
        })
        .await?;
    let mut answer = if added {
        HttpResponse::Created()
    } else {
        HttpResponse::Ok()
    };
    Ok(answer.json(attachment))
}

/// Gives an attachment's bytes.
///
/// A caller whose grants are limited to some kinds gets what an event of these names, and what they brought; a seller
/// gets what an event up to the sale names.
#[utoipa::path(
    tag = "horses",
    params(
        ("horse" = HorseId, Path, description = "The horse"),
        ("sha256" = String, Path, description = "The hash of its bytes, in lower-case hexadecimal"),
        ("If-None-Match" = Option<String>, Header, description = "The ETag of the last answer"),
    ),
    responses(
        (status = 200, description = "The bytes", content(
            (Vec<u8> = "image/jpeg"), (Vec<u8> = "image/png"), (Vec<u8> = "image/webp"), (Vec<u8> = "application/pdf"),
        ), headers(("ETag" = String, description = "Give it back as If-None-Match"))),
        (status = 304, description = "The caller has it"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/horses/{horse}/attachments/{sha256}")]
pub(crate) async fn get_attachment(
    state: Data<State>,
    caller: Caller,
    path: Path<(HorseId, String)>,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let (horse, sha256) = path.into_inner();
    if !is_hex(&sha256) {
        return Err(Problem::not_found());
    }
    let now = state.clock.now();
    let row = state
        .read(move |db| {
            let (horse, access) = access::horse(db, caller.account, horse, now)?;
            let row = attachments::get(db, horse.id, &sha256)?;
            let may_see = may_see(db, caller.account, (&horse, &access), &row)?;
            may_see.then_some(row).ok_or(StoreError::NotFound)
        })
        .await?;
    state.note(By::Account(caller.account), Way::File, &horse);
    let etag = format!("\"{}\"", row.sha256);
    let known = request.headers().get(IF_NONE_MATCH);
    let known = known.and_then(|value| value.to_str().ok()).unwrap_or("");
    if known
        .split(',')
        .any(|tag| tag.trim().trim_start_matches("W/") == etag)
    {
        return Ok(HttpResponse::NotModified()
            .insert_header((ETAG, etag))
            .finish());
    }
    Ok(HttpResponse::Ok()
        .content_type(row.media_type.clone())
        .insert_header((ETAG, etag))
        // The bytes never change, but whether the caller may have them can.
        .insert_header((CACHE_CONTROL, "private, no-cache"))
        .insert_header((
            CONTENT_DISPOSITION,
            format!("attachment; filename=\"{}\"", file_name(&row)),
        ))
        .insert_header(("X-Content-Type-Options", "nosniff"))
        .insert_header(("Content-Security-Policy", "default-src 'none'; sandbox"))
        .body(row.body))
}

/// Whether somebody may have an attachment: all of them, or those that an event names which they may see.
fn may_see(
    db: &mut Db,
    account: AccountId,
    (horse, access): (&HorseRow, &Access),
    row: &AttachmentRow,
) -> Result<bool, StoreError> {
    let brought = access.is_in_force() && row.uploaded_by == account;
    if brought || (access.is_in_force() && !access.is_limited()) {
        return Ok(true);
    }
    let until = access.until_seq(horse.head_seq);
    let naming = events::naming(db, horse.id, &row.sha256, until)?;
    Ok(log_view::seen(db, &naming, access)?.contains(&true))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_type_is_told_by_the_first_bytes_alone() {
        let cases: [(&[u8], Option<&str>); 9] = [
            (b"\xff\xd8\xff\xe0rest", Some("image/jpeg")),
            (b"\x89PNG\r\n\x1a\nrest", Some("image/png")),
            (b"RIFF\x10\x00\x00\x00WEBPVP8 ", Some("image/webp")),
            (b"%PDF-1.7\n", Some("application/pdf")),
            (b"RIFF\x10\x00\x00\x00WAVEfmt ", None),
            (b"RIFF", None),
            (b"<svg xmlns=\"http://www.w3.org/2000/svg\">", None),
            (b"GIF89a", None),
            (b"", None),
        ];
        for (bytes, expected) in cases {
            assert_eq!(sniffed(bytes), expected, "{bytes:?}");
        }
    }

    #[test]
    fn a_hash_has_one_spelling() {
        // SHA-256 of the empty text, FIPS 180-4's well-known value.
        let empty = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855";
        assert_eq!(Hash::of(&[b""]).to_hex(), empty);
        assert!(is_hex(empty));
        assert!(!is_hex(&empty.to_uppercase()));
        assert!(!is_hex(&empty[1..]));
        assert!(!is_hex(&empty.replace('e', "%")));
    }
}
