//! The two fonts of a document: subsets of Noto Sans (Latin, Greek, Cyrillic) under the SIL Open Font License, which
//! lies beside them. Only the letters that a document uses end up in it.

use harfrust::{Direction, ShapeOptions, ShaperData, UnicodeBuffer};
use krilla::text::{Font, GlyphId, KrillaGlyph};
use skrifa::charmap::Charmap;
use skrifa::instance::{LocationRef, Size};
use skrifa::metrics::GlyphMetrics;
use skrifa::{FontRef, MetadataProvider};

const REGULAR: &[u8] = include_bytes!("font/NotoSans-Regular.ttf");
const BOLD: &[u8] = include_bytes!("font/NotoSans-Bold.ttf");

/// The built-in fonts can't be read.
#[derive(Clone, Copy, Debug, thiserror::Error)]
#[error("the built-in font can't be read")]
pub(super) struct Unreadable;

/// What stands for signs that the fonts lack and that our own sentences use, such as between before and after.
const STAND_INS: [(char, &str); 4] = [('→', "to"), ('−', "–"), ('≥', ">="), ('≤', "<=")];

/// A weight of the font.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Weight {
    /// For text.
    Regular,
    /// For headings.
    Bold,
}

/// One font, read for each of its uses.
struct Face {
    drawn: Font,
    table: FontRef<'static>,
    shaping: ShaperData,
    letters: Charmap<'static>,
    widths: GlyphMetrics<'static>,
}

impl Face {
    fn read(bytes: &'static [u8]) -> Result<Self, Unreadable> {
        let table = FontRef::new(bytes).map_err(|_| Unreadable)?;
        Ok(Self {
            drawn: Font::new(bytes.to_vec().into(), 0).ok_or(Unreadable)?,
            shaping: ShaperData::new(&table),
            letters: table.charmap(),
            widths: table.glyph_metrics(Size::unscaled(), LocationRef::default()),
            table,
        })
    }
}

/// The fonts, ready to measure and to draw.
pub(super) struct Fonts {
    regular: Face,
    bold: Face,
}

impl Fonts {
    /// Reads the built-in fonts.
    ///
    /// # Errors
    ///
    /// [`Unreadable`] if they are damaged; a test holds that they are not.
    pub(super) fn load() -> Result<Self, Unreadable> {
        Ok(Self {
            regular: Face::read(REGULAR)?,
            bold: Face::read(BOLD)?,
        })
    }

    const fn of(&self, weight: Weight) -> &Face {
        match weight {
            Weight::Regular => &self.regular,
            Weight::Bold => &self.bold,
        }
    }

    /// A weight as the drawing takes it.
    pub(super) fn font(&self, weight: Weight) -> Font {
        self.of(weight).drawn.clone()
    }

    /// The glyphs of a text from left to right, kerned and with marks over their letters; lengths are parts of an em.
    pub(super) fn glyphs(&self, text: &str, weight: Weight) -> Vec<KrillaGlyph> {
        let face = self.of(weight);
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(text);
        buffer.guess_segment_properties();
        buffer.set_direction(Direction::LeftToRight);
        let shaper = face.shaping.shaper(&face.table).build();
        let glyphs = shaper.shape(buffer, ShapeOptions::new());
        let em = face.drawn.units_per_em();
        #[expect(clippy::cast_precision_loss, reason = "a few thousand units at most")]
        let part = |units: i32| units as f32 / em;
        // Whichever glyphs a stretch of text became, each of them stands for all of it.
        let mut end = text.len();
        let mut next = end;
        let mut drawn: Vec<KrillaGlyph> = glyphs
            .glyph_infos()
            .iter()
            .zip(glyphs.glyph_positions())
            .rev()
            .map(|(glyph, position)| {
                let start = glyph.cluster as usize;
                if start != next {
                    end = next;
                    next = start;
                }
                KrillaGlyph::new(
                    GlyphId::new(glyph.glyph_id),
                    part(position.x_advance),
                    part(position.x_offset),
                    part(position.y_offset),
                    part(position.y_advance),
                    start..end,
                    None,
                )
            })
            .collect();
        drawn.reverse();
        drawn
    }

    /// How wide a text is, in points.
    pub(super) fn width(&self, text: &str, weight: Weight, size: f32) -> f32 {
        let face = self.of(weight);
        let advance: f32 = text
            .chars()
            .filter_map(|letter| face.widths.advance_width(face.letters.map(letter)?))
            .sum();
        advance * size / face.drawn.units_per_em()
    }

    /// The text with blanks for what is no letter, and with the code of each letter that the font lacks, so that none is
    /// lost in an empty box.
    pub(super) fn printable(&self, text: &str) -> String {
        let mut printable = String::with_capacity(text.len());
        for letter in text.chars() {
            if letter.is_whitespace() || letter.is_control() {
                printable.push(' ');
            } else if self.regular.letters.map(letter).is_some() {
                printable.push(letter);
            } else if let Some((_, stand_in)) = STAND_INS.iter().find(|(sign, _)| *sign == letter) {
                printable.push_str(stand_in);
            } else {
                printable.extend(format!("[U+{:04X}]", u32::from(letter)).chars());
            }
        }
        printable
    }

    /// The text on one line no wider than `room` points; one that is longer is cut before its last part, the one behind
    /// its last comma, and says so.
    pub(super) fn cut(&self, text: &str, weight: Weight, size: f32, room: f32) -> String {
        let text = self.printable(text);
        if self.width(&text, weight, size) <= room {
            return text;
        }
        let (name, end) = text.rsplit_once(", ").unwrap_or((&text, ""));
        let end = format!("… {end}");
        let mut kept = String::new();
        let mut used = self.width(&end, weight, size);
        for letter in name.chars() {
            used += self.width(letter.encode_utf8(&mut [0; 4]), weight, size);
            if used > room {
                break;
            }
            kept.push(letter);
        }
        kept + &end
    }

    /// The text in lines no wider than `room` points; a word that is wider is broken.
    pub(super) fn lines(&self, text: &str, weight: Weight, size: f32, room: f32) -> Vec<String> {
        let blank = self.width(" ", weight, size);
        let mut lines = Vec::new();
        let (mut line, mut used) = (String::new(), 0.0);
        for word in self
            .printable(text)
            .split(' ')
            .filter(|word| !word.is_empty())
        {
            let width = self.width(word, weight, size);
            if !line.is_empty() && used + blank + width <= room {
                line.push(' ');
                line.push_str(word);
                used += blank + width;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
                used = 0.0;
            }
            for letter in word.chars() {
                let wide = self.width(letter.encode_utf8(&mut [0; 4]), weight, size);
                if used + wide > room && !line.is_empty() {
                    lines.push(std::mem::take(&mut line));
                    used = 0.0;
                }
                line.push(letter);
                used += wide;
            }
        }
        if !line.is_empty() {
            lines.push(line);
        }
        lines
    }
}
