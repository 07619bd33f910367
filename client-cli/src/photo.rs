//! What a camera writes beside a picture, and how it is taken off before anybody signs for the file.
//!
//! A photo of a hoof tells where the barn stands, to a few metres, and when somebody was there. The hash of a file is
//! signed by its author's device, so nobody can take that off later, the server least of all: it is done here, before
//! the file is hashed. What is kept is listed, not what is dropped: a kind of note that nobody thought of goes, too.

use std::collections::BTreeSet;

use exif::{Context, In, Tag};
use img_parts::jpeg::{Jpeg, JpegSegment, markers};
use img_parts::png::Png;
use img_parts::riff::{RiffChunk, RiffContent};
use img_parts::webp::{self, WebP};
use img_parts::{Bytes, ImageEXIF};

/// A photo without what the camera wrote beside it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cleaned {
    /// The file. The picture in it is what it was, byte by byte, and is still shown the right way up.
    pub bytes: Vec<u8>,
    /// What was taken off, in words.
    pub taken_off: Vec<&'static str>,
}

/// The file can't be read as the picture that it claims to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unreadable;

/// Takes off what a camera or program wrote beside a picture. Files that are no pictures stay as they are.
///
/// # Errors
///
/// [`Unreadable`] if it is no whole picture: nobody can say, then, what else it tells.
pub fn cleaned(media_type: &str, bytes: &[u8]) -> Result<Cleaned, Unreadable> {
    let mut found = Found::default();
    let whole = Bytes::copy_from_slice(bytes);
    let bytes = match media_type {
        "image/jpeg" => jpeg(whole, &mut found)?,
        "image/png" => png(whole, &mut found)?,
        "image/webp" => webp(whole, &mut found)?,
        _ => bytes.to_vec(),
    };
    Ok(Cleaned {
        bytes,
        taken_off: found.in_words(),
    })
}

/// Something that stands beside a picture, in the order in which people are told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Aside {
    Place,
    Camera,
    Notes,
    Behind,
}

/// What was found beside a picture.
#[derive(Debug, Default)]
struct Found {
    asides: BTreeSet<Aside>,
    /// How the picture must be turned to be seen as it was taken, if not as it lies.
    turned: Option<u8>,
}

impl Found {
    fn in_words(&self) -> Vec<&'static str> {
        let word = |aside: &Aside| match aside {
            Aside::Place => "where it was taken",
            Aside::Camera => "when and with which camera",
            Aside::Notes => "notes that other programs left",
            Aside::Behind => "what lay behind the picture",
        };
        self.asides.iter().map(word).collect()
    }

    /// Notes something, if it is there.
    fn add(&mut self, aside: Aside, is_there: bool) {
        if is_there {
            self.asides.insert(aside);
        }
    }

    /// Reads an EXIF block. What can't be read tells nothing of how the picture is turned, and goes all the same.
    fn exif(&mut self, block: &[u8]) {
        if block == turn(self.turned.unwrap_or_default()) {
            return;
        }
        let mut reader = exif::Reader::new();
        reader.continue_on_error(true);
        let read = match reader.read_raw(block.to_vec()) {
            Ok(read) => Some(read),
            Err(error) => error.distill_partial_result(|_| {}).ok(),
        };
        let Some(read) = read else {
            self.asides.insert(Aside::Camera);
            return;
        };
        for field in read.fields() {
            let is_turn = field.tag == Tag::Orientation && field.ifd_num == In::PRIMARY;
            let is_place = field.tag.context() == Context::Gps;
            self.add(Aside::Place, is_place);
            self.add(Aside::Camera, !is_place && !is_turn);
        }
        let turned = read
            .get_field(Tag::Orientation, In::PRIMARY)
            .and_then(|field| field.value.get_uint(0))
            .and_then(|turned| u8::try_from(turned).ok());
        self.turned = self
            .turned
            .or(turned.filter(|turned| (2..=8).contains(turned)));
    }

    /// Text of other programs; XMP has its own names for where a picture was taken.
    fn note(&mut self, text: &[u8]) {
        self.asides.insert(Aside::Notes);
        self.add(Aside::Place, text.windows(3).any(|three| three == b"GPS"));
    }

    /// The only block that a picture keeps: how to turn it.
    fn kept(&self) -> Option<Bytes> {
        self.turned
            .map(|turned| Bytes::copy_from_slice(&turn(turned)))
    }
}

/// An EXIF block that says how to turn the picture, and nothing else: a TIFF header, and a directory with one entry.
fn turn(orientation: u8) -> [u8; 26] {
    let mut block = *b"MM\0\x2a\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\0\0\0\0\0\0\0";
    block[19] = orientation;
    block
}

/// JPEG: what decoders need, the colour profile, and nothing behind the end of the picture.
fn jpeg(whole: Bytes, found: &mut Found) -> Result<Vec<u8>, Unreadable> {
    let mut picture = Jpeg::from_bytes(whole).map_err(|_| Unreadable)?;
    if let Some(block) = picture.exif() {
        found.exif(&block);
    }
    picture.segments_mut().retain(|segment| {
        let (marker, contents) = (segment.marker(), segment.contents());
        let kept = match marker {
            markers::APP0 => contents.starts_with(b"JFIF\0"),
            markers::APP2 => contents.starts_with(b"ICC_PROFILE\0"),
            // How the colours are coded: without it they come out wrong.
            markers::APP14 => contents.starts_with(b"Adobe"),
            _ => !is_aside(marker),
        };
        if !kept && !contents.starts_with(b"Exif\0\0") {
            found.note(contents);
        }
        kept
    });
    if let Some(last) = picture.segments_mut().last_mut()
        && last.has_entropy()
    {
        *last = scans(last, found);
    }
    picture.set_exif(found.kept());
    Ok(picture.encoder().bytes().to_vec())
}

/// Whether a segment is meant for others than the decoder.
fn is_aside(marker: u8) -> bool {
    matches!(
        marker,
        markers::APP0..=markers::APP15 | markers::JPG0..=markers::COM
    )
}

/// The scans of a JPEG up to its end. Phones put second pictures and films behind it, each with a block of its own that
/// says where it was taken.
fn scans(first: &JpegSegment, found: &mut Found) -> JpegSegment {
    let mut whole = Vec::new();
    for piece in first.clone().encoder() {
        whole.extend_from_slice(&piece);
    }
    let coded = whole.split_off(first.len());
    let mut kept = Vec::with_capacity(coded.len());
    let mut rest = coded.as_slice();
    while let Some(at) = rest.iter().position(|byte| *byte == markers::P) {
        let (before, from) = rest.split_at(at);
        kept.extend_from_slice(before);
        let Some(&marker) = from.get(1) else {
            rest = from;
            break;
        };
        let long = match marker {
            // A byte of the picture, or a mark between its parts.
            markers::Z | markers::RST0..=markers::RST7 => 2,
            markers::P => 1,
            markers::EOI => {
                kept.extend_from_slice(&[markers::P, markers::EOI]);
                found.add(Aside::Behind, from.len() > 2);
                rest = &[];
                break;
            }
            _ => {
                let said = from
                    .get(2..4)
                    .map_or(0, |two| u16::from_be_bytes([two[0], two[1]]));
                (2 + usize::from(said)).min(from.len())
            }
        };
        let (segment, behind) = from.split_at(long);
        if is_aside(marker) {
            found.note(segment);
        } else {
            kept.extend_from_slice(segment);
        }
        rest = behind;
    }
    kept.extend_from_slice(rest);
    JpegSegment::new_with_entropy(first.marker(), first.contents().clone(), kept.into())
}

/// The chunks of a PNG that say how it looks (W3C, PNG third edition, chapter 11).
const PNG_CHUNKS: [&[u8; 4]; 18] = [
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"cHRM", b"gAMA", b"iCCP", b"sBIT", b"sRGB",
    b"cICP", b"bKGD", b"hIST", b"pHYs", b"sPLT", b"acTL", b"fcTL", b"fdAT",
];

fn png(whole: Bytes, found: &mut Found) -> Result<Vec<u8>, Unreadable> {
    let long = whole.len();
    let mut picture = Png::from_bytes(whole).map_err(|_| Unreadable)?;
    found.add(Aside::Behind, picture.len() < long);
    if let Some(block) = picture.exif() {
        found.exif(&block);
    }
    picture.chunks_mut().retain(|chunk| {
        let kept = PNG_CHUNKS.contains(&&chunk.kind());
        if !kept && chunk.kind() != *b"eXIf" {
            found.note(chunk.contents());
        }
        kept
    });
    picture.set_exif(found.kept());
    Ok(picture.encoder().bytes().to_vec())
}

/// The chunks of a WebP file that say how it looks (RFC 9649, section 2.7).
const WEBP_CHUNKS: [[u8; 4]; 7] = [
    webp::CHUNK_VP8,
    webp::CHUNK_VP8L,
    webp::CHUNK_VP8X,
    webp::CHUNK_ALPH,
    webp::CHUNK_ANIM,
    webp::CHUNK_ANMF,
    webp::CHUNK_ICCP,
];

/// The flag of a `VP8X` chunk that there is XMP.
const WEBP_HAS_XMP: u8 = 0b0000_0100;

fn webp(whole: Bytes, found: &mut Found) -> Result<Vec<u8>, Unreadable> {
    let long = whole.len();
    let mut picture = WebP::from_bytes(whole).map_err(|_| Unreadable)?;
    let is_behind = usize::try_from(picture.len()).is_ok_and(|read| read < long);
    found.add(Aside::Behind, is_behind);
    if let Some(block) = picture.exif() {
        found.exif(&block);
    }
    picture.chunks_mut().retain(|chunk| {
        let kept = WEBP_CHUNKS.contains(&chunk.id());
        if !kept && chunk.id() != webp::CHUNK_EXIF {
            found.note(chunk.content().data().map_or(&[], |data| data));
        }
        kept
    });
    for chunk in picture.chunks_mut() {
        if chunk.id() == webp::CHUNK_VP8X
            && let Some(data) = chunk.content().data()
        {
            let mut data = data.to_vec();
            if let Some(flags) = data.first_mut() {
                *flags &= !WEBP_HAS_XMP;
            }
            *chunk = RiffChunk::new(webp::CHUNK_VP8X, RiffContent::Data(data.into()));
        }
    }
    picture.set_exif(found.kept());
    Ok(picture.encoder().bytes().to_vec())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The smallest picture that says how it is turned: start, EXIF, a scan, end.
    fn with_exif(block: &[u8], behind: &[u8]) -> Vec<u8> {
        let long = u16::try_from(block.len() + 8).expect("short");
        let parts: [&[u8]; 7] = [
            b"\xff\xd8\xff\xe1",
            &long.to_be_bytes(),
            b"Exif\0\0",
            block,
            b"\xff\xda\0\x02a\xff\0b\xff\xd0c",
            b"\xff\xd9",
            behind,
        ];
        parts.concat()
    }

    #[test]
    fn a_photo_that_was_cleaned_has_nothing_left_to_take_off() {
        let once = cleaned("image/jpeg", &with_exif(&turn(6), b"")).expect("a picture");
        assert_eq!(once.taken_off, Vec::<&str>::new());
        let twice = cleaned("image/jpeg", &once.bytes).expect("a picture");
        assert_eq!(twice, once);
    }

    #[test]
    fn what_lies_behind_a_picture_goes_and_marks_within_it_stay() {
        let secret = b"\xff\xd8\xff\xe1 54 north, 3 west";
        let done = cleaned("image/jpeg", &with_exif(&turn(3), secret)).expect("a picture");
        assert_eq!(done.bytes, with_exif(&turn(3), b""));
        assert_eq!(done.taken_off, ["what lay behind the picture"]);
    }

    #[test]
    fn notes_between_the_scans_go_even_if_they_look_like_an_end() {
        let whole =
            b"\xff\xd8\xff\xda\0\x02one\xff\xfe\0\x06\xff\xd9GP\xff\xda\0\x04\xff\xd9two\xff\xd9";
        let done = cleaned("image/jpeg", whole).expect("a picture");
        assert_eq!(
            done.bytes,
            b"\xff\xd8\xff\xda\0\x02one\xff\xda\0\x04\xff\xd9two\xff\xd9"
        );
        assert_eq!(done.taken_off, ["notes that other programs left"]);
    }

    #[test]
    fn what_is_no_whole_picture_is_not_passed_on_unread() {
        let cases: [(&str, &[u8]); 6] = [
            ("image/jpeg", b"\xff\xd8\xff\xe0rest"),
            ("image/jpeg", b"\xff\xd8\xff"),
            ("image/png", b"\x89PNG\r\n\x1a\n\0\0\0\x04tEXtnote\0\0\0\0"),
            ("image/png", b"\x89PNG\r\n\x1a\n\xff\xff\xff\xffIDAT"),
            ("image/webp", b"RIFF\xff\xff\xff\xffWEBPVP8 "),
            ("image/webp", b"RIFF\x04\0\0\0WAVE"),
        ];
        for (media_type, bytes) in cases {
            assert_eq!(cleaned(media_type, bytes), Err(Unreadable), "{bytes:?}");
        }
    }

    proptest::proptest! {
        #[test]
        fn no_bytes_make_it_panic(rest in proptest::collection::vec(0_u8.., 0..200)) {
            let heads: [(&str, &[u8]); 4] = [
                ("image/jpeg", b"\xff\xd8\xff\xda\0\x02"),
                ("image/jpeg", b"\xff\xd8\xff\xe1\0\x40Exif\0\0MM\0*"),
                ("image/png", b"\x89PNG\r\n\x1a\n"),
                ("image/webp", b"RIFF\x40\0\0\0WEBP"),
            ];
            for (media_type, head) in heads {
                if let Ok(once) = cleaned(media_type, &[head, &rest].concat()) {
                    proptest::prop_assert_eq!(&cleaned(media_type, &once.bytes).map(|twice| twice.bytes), &Ok(once.bytes));
                }
            }
        }
    }
}
