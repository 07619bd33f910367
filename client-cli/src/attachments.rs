//! Photos and documents: a copy by the hash of its bytes, kept here until the server has it.

use std::fs;
use std::path::Path;

use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use sha2::{Digest, Sha256};
use whorl_care::ids::HorseId;
use whorl_contract::attachment::LARGEST;
use whorl_contract::event::AttachmentRef;
use whorl_contract::problem::Problem;

use crate::failure::Failure;
use crate::herd;
use crate::home::{Home, write_private};
use crate::photo;
use crate::schema::upload;
use crate::stored::Stored;
use crate::sync::push::is_about_it;
use crate::sync::{Ledger, Refused, Report};

/// The beginnings by which a file shows what it is.
const JPEG: &[u8] = &[0xff, 0xd8, 0xff];
const PNG: &[u8] = b"\x89PNG\r\n\x1a\n";
const PDF: &[u8] = b"%PDF-";

/// What a file is, by its first bytes: its name may say anything.
#[must_use]
pub fn media_type(bytes: &[u8]) -> Option<&'static str> {
    let webp = bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP");
    Some(match bytes {
        _ if bytes.starts_with(JPEG) => "image/jpeg",
        _ if bytes.starts_with(PNG) => "image/png",
        _ if webp => "image/webp",
        _ if bytes.starts_with(PDF) => "application/pdf",
        _ => return None,
    })
}

/// The SHA-256 of some bytes, in lower-case hexadecimal.
#[must_use]
pub fn sha256(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    let mut text = String::with_capacity(64);
    for byte in Sha256::digest(bytes) {
        // Writing to a String can't fail.
        let _ = write!(text, "{byte:02x}");
    }
    text
}

/// A file that was taken into the client's folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Copied {
    /// What an event names it by.
    pub file: AttachmentRef,
    /// What was taken off a photo, in a line; none if there was nothing.
    pub taken_off: Option<String>,
}

/// Copies a file into the client's folder, under its hash. What a camera wrote beside a picture is taken off before,
/// unless the file is to stay `as_it_is`.
///
/// # Errors
///
/// [`Failure::Input`] if it is of no type that is taken, or too large; [`Failure::Device`] if it can't be copied.
pub fn copy(
    home: &Home,
    file: &Path,
    caption: Option<String>,
    as_it_is: bool,
) -> Result<Copied, Failure> {
    let name = file.display();
    let size = fs::metadata(file)
        .map_err(|error| Failure::input(format!("{name}: {error}")))?
        .len();
    if size > LARGEST as u64 {
        return Err(Failure::input(format!(
            "{name} has {size} bytes; at most {LARGEST} are taken, so save it smaller"
        )));
    }
    let bytes = fs::read(file).map_err(|error| Failure::input(format!("{name}: {error}")))?;
    let media_type = media_type(&bytes).ok_or_else(|| {
        Failure::input(format!(
            "{name} is no JPEG, PNG, WebP or PDF file; save it as one of these"
        ))
    })?;
    let (bytes, taken_off) = if as_it_is {
        (bytes, None)
    } else {
        let cleaned = photo::cleaned(media_type, &bytes).map_err(|photo::Unreadable| {
            Failure::input(format!(
                "{name} is damaged, so what it may tell of the place can't be taken off; open it and save it anew, or \
                 give --photo-as-it-is"
            ))
        })?;
        (cleaned.bytes, told(file, &cleaned.taken_off))
    };
    let sha256 = sha256(&bytes);
    let place = home.attachment(&sha256)?;
    if !place.exists() {
        write_private(&place, &bytes)?;
    }
    Ok(Copied {
        file: AttachmentRef {
            sha256,
            media_type: media_type.to_owned(),
            bytes: bytes.len() as u64,
            caption,
        },
        taken_off,
    })
}

/// Says what was taken off a photo.
fn told(file: &Path, taken_off: &[&str]) -> Option<String> {
    let (last, others) = taken_off.split_last()?;
    let asides = match others {
        [] => (*last).to_owned(),
        _ => format!("{} and {last}", others.join(", ")),
    };
    let name = file.file_name().unwrap_or(file.as_os_str());
    Some(format!(
        "taken off the photo {}: {asides}; the picture itself is unchanged",
        name.display()
    ))
}

/// Notes that a horse's record names a file that the server doesn't have yet.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn queue(
    conn: &mut SqliteConnection,
    horse: HorseId,
    file: &AttachmentRef,
) -> Result<(), Failure> {
    diesel::insert_into(upload::table)
        .values((
            upload::horse_id.eq(Stored(horse)),
            upload::sha256.eq(&file.sha256),
            upload::media_type.eq(&file.media_type),
        ))
        .on_conflict_do_nothing()
        .execute(conn)?;
    Ok(())
}

/// Sends what waits. A file that the server refuses stays, with the reason, and stops nothing.
///
/// # Errors
///
/// [`Failure::Offline`] if the line breaks; [`Failure::Device`] if a file can't be read.
pub(crate) fn upload(
    conn: &mut SqliteConnection,
    ledger: &mut dyn Ledger,
    home: &Home,
    report: &mut Report,
) -> Result<(), Failure> {
    let unborn: Vec<HorseId> = herd::pending(conn)?
        .into_iter()
        .map(|pending| pending.new.id)
        .collect();
    for (horse_id, sha256, media_type) in waiting(conn)? {
        if unborn.contains(&horse_id) {
            continue;
        }
        let place = home.attachment(&sha256)?;
        let Ok(bytes) = fs::read(&place) else {
            report.notices.push(format!(
                "{} can't be read, so it can't go to the server; put it back and push again",
                place.display()
            ));
            continue;
        };
        match ledger.upload(horse_id, &media_type, bytes) {
            Ok(()) => {
                settle(conn, horse_id, &sha256, None)?;
                report.uploaded += 1;
            }
            Err(Failure::Refused(why, Some(problem))) if is_about_it(&problem) => {
                settle(conn, horse_id, &sha256, Some(&problem))?;
                report.refused.push(Refused {
                    event_id: None,
                    horse_id,
                    why: format!("the file {sha256}: {why}"),
                });
            }
            Err(failure) => return Err(failure),
        }
    }
    Ok(())
}

fn waiting(conn: &mut SqliteConnection) -> Result<Vec<(HorseId, String, String)>, Failure> {
    let rows: Vec<(Stored<HorseId>, String, String)> = upload::table
        .filter(upload::done.eq(false))
        .filter(upload::problem.is_null())
        .order((upload::horse_id, upload::sha256))
        .select((upload::horse_id, upload::sha256, upload::media_type))
        .load(conn)?;
    let rows = rows
        .into_iter()
        .map(|(horse, sha256, kind)| (horse.0, sha256, kind));
    Ok(rows.collect())
}

fn settle(
    conn: &mut SqliteConnection,
    horse: HorseId,
    sha256: &str,
    refused: Option<&Problem>,
) -> Result<(), Failure> {
    let problem = refused
        .map(serde_json::to_string)
        .transpose()
        .map_err(|error| Failure::Device(error.to_string()))?;
    diesel::update(upload::table.find((Stored(horse), sha256)))
        .set((
            upload::done.eq(refused.is_none()),
            upload::problem.eq(problem),
        ))
        .execute(conn)?;
    Ok(())
}

/// Lets refused files wait again.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn retry(conn: &mut SqliteConnection) -> Result<(), Failure> {
    diesel::update(upload::table)
        .set(upload::problem.eq(None::<String>))
        .execute(conn)?;
    Ok(())
}

/// Forgets the files of a horse that the server has. Answers those that nothing else names, to be deleted.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub(crate) fn forget(conn: &mut SqliteConnection, horse: HorseId) -> Result<Vec<String>, Failure> {
    let of_horse = upload::table
        .filter(upload::horse_id.eq(Stored(horse)))
        .filter(upload::done.eq(true));
    let files: Vec<String> = of_horse.select(upload::sha256).load(conn)?;
    diesel::delete(of_horse).execute(conn)?;
    let mut alone = Vec::new();
    for file in files {
        let others: i64 = upload::table
            .filter(upload::sha256.eq(&file))
            .count()
            .get_result(conn)?;
        if others == 0 {
            alone.push(file);
        }
    }
    Ok(alone)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::database::tests::fresh;

    #[test]
    fn a_file_is_what_its_bytes_say_and_is_named_by_their_hash() {
        let folder = tempfile::tempdir().expect("a folder");
        let home = Home::open(&folder.path().join("home")).expect("made");
        let file = folder.path().join("hoof.pdf");
        // A picture's start and end, and nothing between.
        let bytes = b"\xff\xd8\xff\xd9";
        fs::write(&file, bytes).expect("written");
        let first = copy(&home, &file, None, false).expect("copied");
        assert_eq!(first.file.media_type, "image/jpeg");
        assert_eq!((first.file.bytes, &first.taken_off), (4, &None));
        let kept = home.attachment(&first.file.sha256).expect("a place");
        assert_eq!(fs::read(kept).expect("there"), bytes);
        assert_eq!(copy(&home, &file, None, false).expect("again"), first);
        fs::write(&file, b"GIF89a").expect("written");
        let refused = copy(&home, &file, None, false).expect_err("no type that is taken");
        assert_eq!(refused.status(), 2);
        // SHA-256 of nothing: FIPS 180-4's empty message, from memory.
        assert_eq!(
            sha256(b""),
            "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
        );
        assert_eq!(media_type(b"RIFF....WEBPVP8 "), Some("image/webp"));
    }

    #[test]
    fn a_photo_that_cannot_be_read_is_taken_only_if_its_author_says_so() {
        let folder = tempfile::tempdir().expect("a folder");
        let home = Home::open(&folder.path().join("home")).expect("made");
        let file = folder.path().join("hoof.jpg");
        let bytes = [JPEG, b"\xe1\xff\xffExif"].concat();
        fs::write(&file, &bytes).expect("written");
        let refused = copy(&home, &file, None, false).expect_err("it may say anything");
        assert_eq!(refused.status(), 2);
        let taken = copy(&home, &file, None, true).expect("copied");
        let kept = home.attachment(&taken.file.sha256).expect("a place");
        assert_eq!(fs::read(kept).expect("there"), bytes);
    }

    #[test]
    fn a_file_that_another_horse_names_stays() {
        let (_folder, mut conn) = fresh();
        let horse = |n: u128| HorseId(uuid::Uuid::from_u128(n));
        let file = AttachmentRef {
            sha256: "aa".into(),
            media_type: "image/png".into(),
            bytes: 1,
            caption: None,
        };
        for n in 1..=2 {
            queue(&mut conn, horse(n), &file).expect("queued");
            settle(&mut conn, horse(n), "aa", None).expect("done");
        }
        assert_eq!(
            forget(&mut conn, horse(1)).expect("forgotten"),
            Vec::<String>::new()
        );
        assert_eq!(forget(&mut conn, horse(2)).expect("forgotten"), ["aa"]);
    }
}
