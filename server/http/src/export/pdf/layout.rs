//! Blocks to pages: where each line stands, and to which part of the document it belongs.

use super::font::{Fonts, Weight};
use super::qr;

/// A4, in points.
pub(super) const PAGE: (f32, f32) = (595.28, 841.89);

const LEFT: f32 = 48.0;
const RIGHT: f32 = PAGE.0 - 48.0;
const TOP: f32 = 52.0;
const BOTTOM: f32 = PAGE.1 - 60.0;
const FOOT: f32 = PAGE.1 - 34.0;

/// Size of text and height of a line.
const TEXT: (f32, f32) = (9.0, 12.5);
const FOOT_SIZE: f32 = 8.0;

/// A paragraph of so many lines isn't parted.
const TOGETHER: usize = 6;

/// Where the columns of the table begin, and the last ends.
const COLUMNS: [f32; 4] = [LEFT, LEFT + 84.0, LEFT + 330.0, RIGHT];
const GAP: f32 = 10.0;
const QR_SIDE: f32 = 108.0;

/// A part of the document.
#[derive(Clone, Debug)]
pub(super) enum Block {
    /// A heading of a level.
    Heading(u16, String),
    /// Names and facts.
    Facts(Vec<(String, String)>),
    /// A paragraph.
    Text(String),
    /// A table; its head is repeated on each page.
    Table {
        /// The heads of its columns.
        head: [String; 3],
        /// Its rows.
        rows: Vec<[Cell; 3]>,
    },
    /// A link with its QR code.
    Link {
        /// What it leads to.
        text: String,
        /// The address.
        link: String,
    },
}

/// A cell: paragraphs with their weights.
#[derive(Clone, Debug, Default)]
pub(super) struct Cell(Vec<(Weight, String)>);

impl Cell {
    /// Adds a paragraph that stands out.
    pub(super) fn bold(&mut self, text: impl Into<String>) {
        self.0.push((Weight::Bold, text.into()));
    }

    /// Adds a paragraph.
    pub(super) fn plain(&mut self, text: impl Into<String>) {
        self.0.push((Weight::Regular, text.into()));
    }

    fn lines(&self, room: f32, fonts: &Fonts) -> Vec<(Weight, String)> {
        let wrap = |(weight, text): &(Weight, String)| {
            let lines = fonts.lines(text, *weight, TEXT.0, room);
            lines
                .into_iter()
                .map(|line| (*weight, line))
                .collect::<Vec<_>>()
        };
        self.0.iter().flat_map(wrap).collect()
    }
}

/// Something drawn on a page.
#[derive(Clone, Debug)]
pub(super) enum Mark {
    /// A line of text: its left end, its base line, weight, size.
    Text(f32, f32, Weight, f32, String),
    /// A thin line across the page at a height.
    Rule(f32),
    /// A QR code: its left and upper edge, its side.
    Code(f32, f32, f32, qr::Code),
}

/// A mark and the slot it belongs to; none where it is no content.
pub(super) type Placed = (Option<usize>, Mark);

/// What the slots mean, in reading order.
#[derive(Clone, Debug)]
pub(super) enum Part {
    /// A heading: level, slot, text, page, height on it.
    Heading(u16, usize, String, usize, f32),
    /// A paragraph.
    Text(usize),
    /// Rows of cells; the first row is the head if `headed`, else the first column is.
    Table {
        /// Whether the first row heads the columns.
        headed: bool,
        /// The slots of each row.
        rows: Vec<Vec<usize>>,
    },
    /// A picture that stands for a link.
    Code(usize, String),
}

/// The document, laid out.
#[derive(Clone, Debug, Default)]
pub(super) struct Laid {
    /// What stands on each page.
    pub(super) pages: Vec<Vec<Placed>>,
    /// What belongs together.
    pub(super) parts: Vec<Part>,
    /// How many slots there are.
    pub(super) slots: usize,
}

/// Lays blocks out; `foot` stands at the foot of each page with its number.
pub(super) fn lay(blocks: &[Block], foot: &str, fonts: &Fonts) -> Laid {
    let mut pen = Pen {
        laid: Laid {
            pages: vec![Vec::new()],
            ..Laid::default()
        },
        y: TOP,
        fonts,
    };
    for block in blocks {
        pen.block(block);
    }
    let mut laid = pen.laid;
    let pages = laid.pages.len();
    for (n, page) in laid.pages.iter_mut().enumerate() {
        let number = format!("Page {} of {pages}", n + 1);
        let room = RIGHT - LEFT - 90.0;
        let foot = fonts.cut(foot, Weight::Regular, FOOT_SIZE, room);
        let start = RIGHT - fonts.width(&number, Weight::Regular, FOOT_SIZE);
        page.push((None, Mark::Rule(FOOT - 13.0)));
        for (x, text) in [(LEFT, foot), (start, number)] {
            page.push((None, Mark::Text(x, FOOT, Weight::Regular, FOOT_SIZE, text)));
        }
    }
    laid
}

struct Pen<'a> {
    laid: Laid,
    y: f32,
    fonts: &'a Fonts,
}

impl Pen<'_> {
    fn slot(&mut self) -> usize {
        self.laid.slots += 1;
        self.laid.slots - 1
    }

    fn put(&mut self, slot: Option<usize>, mark: Mark) {
        if let Some(page) = self.laid.pages.last_mut() {
            page.push((slot, mark));
        }
    }

    fn turn(&mut self) {
        self.laid.pages.push(Vec::new());
        self.y = TOP;
    }

    /// Turns the page if there is no room for so much.
    fn need(&mut self, height: f32) {
        if self.y + height > BOTTOM && self.y > TOP {
            self.turn();
        }
    }

    fn block(&mut self, block: &Block) {
        match block {
            Block::Heading(level, text) => self.heading(*level, text),
            Block::Facts(facts) => self.facts(facts),
            Block::Text(text) => {
                let slot = self.slot();
                self.text(slot, text, RIGHT - LEFT);
                self.laid.parts.push(Part::Text(slot));
                self.y += 5.0;
            }
            Block::Table { head, rows } => self.table(head, rows),
            Block::Link { text, link } => self.link(text, link),
        }
    }

    fn heading(&mut self, level: u16, text: &str) {
        let (size, height) = if level == 1 {
            (20.0, 27.0)
        } else {
            (12.0, 17.0)
        };
        if level > 1 {
            self.y += 8.0;
        }
        // A heading never stands alone at the foot of a page.
        self.need(height + 3.0 * TEXT.1);
        let slot = self.slot();
        let at = (self.laid.pages.len() - 1, self.y);
        for line in self.fonts.lines(text, Weight::Bold, size, RIGHT - LEFT) {
            self.put(
                Some(slot),
                Mark::Text(LEFT, self.y + size, Weight::Bold, size, line),
            );
            self.y += height;
        }
        self.laid
            .parts
            .push(Part::Heading(level, slot, text.to_owned(), at.0, at.1));
        self.y += 3.0;
    }

    fn text(&mut self, slot: usize, text: &str, room: f32) {
        let lines = self.fonts.lines(text, Weight::Regular, TEXT.0, room);
        if lines.len() <= TOGETHER {
            // No line of a short paragraph stands alone on a page.
            self.need(lines.iter().map(|_| TEXT.1).sum());
        }
        for line in lines {
            self.need(TEXT.1);
            self.put(
                Some(slot),
                Mark::Text(LEFT, self.y + TEXT.0, Weight::Regular, TEXT.0, line),
            );
            self.y += TEXT.1;
        }
    }

    fn facts(&mut self, facts: &[(String, String)]) {
        let mut rows = Vec::new();
        for (name, fact) in facts {
            let (name_slot, slot) = (self.slot(), self.slot());
            let start = LEFT + 100.0;
            self.need(TEXT.1);
            let name = Mark::Text(
                LEFT,
                self.y + TEXT.0,
                Weight::Bold,
                TEXT.0,
                self.fonts.printable(name),
            );
            self.put(Some(name_slot), name);
            for line in self
                .fonts
                .lines(fact, Weight::Regular, TEXT.0, RIGHT - start)
            {
                self.need(TEXT.1);
                self.put(
                    Some(slot),
                    Mark::Text(start, self.y + TEXT.0, Weight::Regular, TEXT.0, line),
                );
                self.y += TEXT.1;
            }
            rows.push(vec![name_slot, slot]);
        }
        self.laid.parts.push(Part::Table {
            headed: false,
            rows,
        });
    }

    fn table(&mut self, head: &[String; 3], rows: &[[Cell; 3]]) {
        self.need(5.0 * TEXT.1);
        let head_slots: Vec<usize> = head.iter().map(|_| self.slot()).collect();
        self.head(head, Some(&head_slots));
        let mut slots = vec![head_slots];
        for row in rows {
            let cells: Vec<Vec<(Weight, String)>> = row
                .iter()
                .enumerate()
                .map(|(n, cell)| cell.lines(COLUMNS[n + 1] - COLUMNS[n] - GAP, self.fonts))
                .collect();
            let row_slots: Vec<usize> = cells.iter().map(|_| self.slot()).collect();
            let lines = cells.iter().map(Vec::len).max().unwrap_or(0);
            // A row stays whole if a page can hold it; a longer one runs on.
            let height: f32 = std::iter::repeat_n(TEXT.1, lines).sum();
            if self.y + height + 6.0 > BOTTOM && height < BOTTOM - TOP - 30.0 {
                self.turn();
                self.head(head, None);
            }
            let mut done = 0;
            while done < lines {
                if self.y + TEXT.1 > BOTTOM {
                    self.turn();
                    self.head(head, None);
                }
                done = self.lines(&cells, &row_slots, done, lines);
            }
            self.y += 3.0;
            self.put(None, Mark::Rule(self.y));
            self.y += 3.0;
            slots.push(row_slots);
        }
        self.laid.parts.push(Part::Table {
            headed: true,
            rows: slots,
        });
    }

    /// Puts the lines of a row from `first` on, as many as the page holds; answers how many are done. Cell by cell, so that
    /// whoever copies the text gets whole sentences.
    fn lines(
        &mut self,
        cells: &[Vec<(Weight, String)>],
        slots: &[usize],
        first: usize,
        all: usize,
    ) -> usize {
        let top = self.y;
        let mut until = first;
        while until < all && self.y + TEXT.1 <= BOTTOM {
            self.y += TEXT.1;
            until += 1;
        }
        for ((cell, slot), x) in cells.iter().zip(slots).zip(COLUMNS) {
            let mut y = top + TEXT.0;
            for (weight, text) in cell.iter().skip(first).take(until - first) {
                let mark = Mark::Text(x, y, *weight, TEXT.0, text.clone());
                self.put(Some(*slot), mark);
                y += TEXT.1;
            }
        }
        until
    }

    /// The heads of the columns; again on each page, where they are no content.
    fn head(&mut self, head: &[String; 3], slots: Option<&[usize]>) {
        for (n, text) in head.iter().enumerate() {
            let slot = slots.and_then(|slots| slots.get(n)).copied();
            let mark = Mark::Text(
                COLUMNS[n],
                self.y + TEXT.0,
                Weight::Bold,
                TEXT.0,
                text.clone(),
            );
            self.put(slot, mark);
        }
        self.y += TEXT.1 + 3.0;
        self.put(None, Mark::Rule(self.y));
        self.y += 3.0;
    }

    fn link(&mut self, text: &str, link: &str) {
        let code = qr::code(link);
        let height = if code.is_some() { QR_SIDE } else { 0.0 };
        self.need(height + 3.0 * TEXT.1);
        let slot = self.slot();
        self.text(slot, text, RIGHT - LEFT);
        self.text(slot, link, RIGHT - LEFT);
        self.laid.parts.push(Part::Text(slot));
        if let Some(code) = code {
            let slot = self.slot();
            self.y += 6.0;
            self.put(Some(slot), Mark::Code(LEFT, self.y, QR_SIDE, code));
            self.y += QR_SIDE + 6.0;
            self.laid.parts.push(Part::Code(slot, link.to_owned()));
        }
    }
}
