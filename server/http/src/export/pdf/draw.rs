//! Pages to the bytes of a PDF file, tagged so that a screen reader reads them in order (PDF/UA-1).

use std::num::NonZeroU16;

use chrono::{Datelike, NaiveDate};
use krilla::color::rgb;
use krilla::configure::ConfigurationBuilder;
use krilla::configure::validate::Accessibility;
use krilla::destination::XyzDestination;
use krilla::error::KrillaError;
use krilla::geom::{PathBuilder, Point, Rect};
use krilla::metadata::{DateTime, Metadata};
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::Fill;
use krilla::surface::Surface;
use krilla::tagging::{
    Artifact, ArtifactType, ContentTag, Identifier, Node, SpanTag, TableHeaderScope, Tag, TagGroup,
    TagTree,
};
use krilla::{Document, SerializeSettings};

use super::font::Fonts;
use super::layout::{Laid, Mark, PAGE, Part};
use super::qr::Code;

/// Why no file came of it.
#[derive(Debug, thiserror::Error)]
pub(super) enum NotDrawn {
    /// The settings contradict each other.
    #[error("the settings of the PDF writer contradict each other")]
    Settings,
    /// The pages can't be written.
    #[error("the PDF can't be written: {0:?}")]
    Writing(KrillaError),
}

/// Draws a document that was laid out.
///
/// # Errors
///
/// [`NotDrawn`] if the writer finds a fault in it.
pub(super) fn draw(
    laid: &Laid,
    title: &str,
    on: NaiveDate,
    fonts: &Fonts,
) -> Result<Vec<u8>, NotDrawn> {
    let configuration = ConfigurationBuilder::new()
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .map_err(|_| NotDrawn::Settings)?;
    let mut document = Document::new_with(SerializeSettings {
        configuration,
        ..SerializeSettings::default()
    });
    let mut slots: Vec<Vec<Identifier>> = vec![Vec::new(); laid.slots];
    for page in &laid.pages {
        let settings = PageSettings::from_wh(PAGE.0, PAGE.1).ok_or(NotDrawn::Settings)?;
        let mut sheet = document.start_page_with(settings);
        let mut surface = sheet.surface();
        for (slot, mark) in page {
            let tag = match slot {
                Some(_) => match mark {
                    Mark::Text(..) => ContentTag::Span(SpanTag::empty()),
                    _ => ContentTag::Other,
                },
                None => ContentTag::Artifact(Artifact::with_kind(ArtifactType::PaginationOther)),
            };
            let identifier = surface.start_tagged(tag);
            put(&mut surface, mark, fonts);
            surface.end_tagged();
            if let Some(kept) = slot.and_then(|slot| slots.get_mut(slot)) {
                kept.push(identifier);
            }
        }
        surface.finish();
        sheet.finish();
    }
    document.set_tag_tree(tree(laid, &mut slots));
    document.set_outline(outline(laid));
    document.set_metadata(metadata(title, on));
    document.finish().map_err(NotDrawn::Writing)
}

fn metadata(title: &str, on: NaiveDate) -> Metadata {
    let part = |number: u32| u8::try_from(number).unwrap_or(1);
    let made = DateTime::new(u16::try_from(on.year()).unwrap_or(0))
        .month(part(on.month()))
        .day(part(on.day()))
        .hour(0)
        .minute(0)
        .second(0)
        .utc_offset_hour(0)
        .utc_offset_minute(0);
    Metadata::new()
        .title(title.to_owned())
        .language("en".to_owned())
        .creator("Whorl".to_owned())
        .creation_date(made)
}

fn put(surface: &mut Surface<'_>, mark: &Mark, fonts: &Fonts) {
    match mark {
        Mark::Text(x, y, weight, size, text) => surface.draw_glyphs(
            Point::from_xy(*x, *y),
            &fonts.glyphs(text, *weight),
            fonts.font(*weight),
            text,
            *size,
            false,
        ),
        Mark::Rule(y) => {
            let rule = Rect::from_xywh(48.0, *y, PAGE.0 - 96.0, 0.5);
            surface.set_fill(Some(Fill {
                paint: rgb::Color::new(150, 150, 150).into(),
                ..Fill::default()
            }));
            fill(surface, rule);
            surface.set_fill(None);
        }
        Mark::Code(x, y, side, code) => squares(surface, (*x, *y, *side), code),
    }
}

fn fill(surface: &mut Surface<'_>, squares: impl IntoIterator<Item = Rect>) {
    let mut path = PathBuilder::new();
    for square in squares {
        path.push_rect(square);
    }
    if let Some(path) = path.finish() {
        surface.draw_path(&path);
    }
}

#[expect(
    clippy::cast_precision_loss,
    reason = "a code is at most 177 squares wide"
)]
fn squares(surface: &mut Surface<'_>, (x, y, side): (f32, f32, f32), code: &Code) {
    // Readers need four squares of margin around a code.
    let one = side / (code.side + 8) as f32;
    let dark = code.dark.iter().filter_map(|(column, row)| {
        let (left, top) = ((column + 4) as f32 * one, (row + 4) as f32 * one);
        Rect::from_xywh(x + left, y + top, one, one)
    });
    fill(surface, dark);
}

fn outline(laid: &Laid) -> Outline {
    let mut outline = Outline::new();
    for part in &laid.parts {
        if let Part::Heading(_, _, text, page, y) = part {
            let place = XyzDestination::new(*page, Point::from_xy(0.0, *y));
            outline.push_child(OutlineNode::new(text.clone(), place));
        }
    }
    outline
}

fn tree(laid: &Laid, slots: &mut [Vec<Identifier>]) -> TagTree {
    let mut tree = TagTree::new().with_lang(Some("en".to_owned()));
    let mut take = |slot: usize| -> Vec<Node> {
        let kept = slots.get_mut(slot).map(std::mem::take).unwrap_or_default();
        kept.into_iter().map(Node::Leaf).collect()
    };
    for part in &laid.parts {
        match part {
            Part::Heading(level, slot, text, ..) => {
                let level = NonZeroU16::new(*level).unwrap_or(NonZeroU16::MIN);
                let tag = Tag::Hn(level, Some(text.clone()));
                tree.push(TagGroup::with_children(tag, take(*slot)));
            }
            Part::Text(slot) => tree.push(TagGroup::with_children(Tag::P, take(*slot))),
            Part::Code(slot, link) => {
                let tag = Tag::Figure(Some(format!("QR code of {link}")));
                tree.push(TagGroup::with_children(tag, take(*slot)));
            }
            Part::Table { headed, rows } => {
                let mut table = TagGroup::new(Tag::Table);
                for (row, cells) in rows.iter().enumerate() {
                    let mut line = TagGroup::new(Tag::TR);
                    for (column, slot) in cells.iter().enumerate() {
                        let text = TagGroup::with_children(Tag::P, take(*slot));
                        let cell = if *headed && row == 0 {
                            TagGroup::with_children(
                                Tag::TH(TableHeaderScope::Column),
                                vec![text.into()],
                            )
                        } else if column == 0 {
                            TagGroup::with_children(
                                Tag::TH(TableHeaderScope::Row),
                                vec![text.into()],
                            )
                        } else {
                            TagGroup::with_children(Tag::TD, vec![text.into()])
                        };
                        line.push(cell);
                    }
                    table.push(line);
                }
                tree.push(table);
            }
        }
    }
    tree
}
