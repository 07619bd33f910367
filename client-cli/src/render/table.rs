//! Tables for a terminal: no word is broken that fits on a line. Where the columns don't fit side by side, or would be
//! narrow towers, the wordiest stand in full below their row.

use unicode_width::UnicodeWidthStr;

/// Blanks between columns, and before what stands below a row.
const GAP: usize = 3;
const INDENT: usize = 4;

/// A row of more lines than this is a tower.
const TALLEST: usize = 4;

/// A word that is longer than an id is broken where it must be.
const LONGEST_WORD: usize = 36;

/// The table in lines, for a terminal of `width` columns, or for a file.
pub(super) fn lines(head: &[String], rows: &[Vec<String>], width: Option<u16>) -> Vec<String> {
    let columns = rows.iter().map(Vec::len).chain([head.len()]).max();
    let every: Vec<usize> = (0..columns.unwrap_or(0)).collect();
    let plan = match width {
        Some(width) => plan(&every, head, rows, usize::from(width)),
        None => Plan::natural(every, head, rows),
    };
    let mut lines = Vec::new();
    if !head.is_empty() {
        lines.extend(plan.beside(head));
        lines.push("─".repeat(plan.width()));
    }
    for row in rows {
        lines.extend(plan.beside(row));
        lines.extend(plan.below(head, row));
    }
    lines
}

/// Which columns stand side by side and how wide they are, and which stand below.
struct Plan {
    beside: Vec<(usize, usize)>,
    below: Vec<usize>,
    room: usize,
}

impl Plan {
    /// Every column as wide as its longest line.
    fn natural(columns: Vec<usize>, head: &[String], rows: &[Vec<String>]) -> Self {
        let beside = columns
            .into_iter()
            .map(|column| {
                (
                    column,
                    cells(column, head, rows)
                        .map(longest_line)
                        .max()
                        .unwrap_or(0),
                )
            })
            .collect();
        Self {
            beside,
            below: Vec::new(),
            room: usize::MAX,
        }
    }

    fn width(&self) -> usize {
        let widths: usize = self.beside.iter().map(|(_, width)| width).sum();
        widths + GAP * self.beside.len().saturating_sub(1)
    }

    /// How many lines the tallest cell has, and in which column; the first doesn't count.
    fn tallest(&self, rows: &[Vec<String>]) -> Option<(usize, usize)> {
        let height = |row: &Vec<String>, (column, width): (usize, usize)| {
            row.get(column).map_or(0, |cell| wrapped(cell, width).len())
        };
        let all = rows.iter().flat_map(|row| {
            let columns = self.beside.iter().skip(1);
            columns.map(move |one| (height(row, *one), one.0))
        });
        all.max()
    }

    /// The cells that stand side by side.
    fn beside(&self, row: &[String]) -> Vec<String> {
        let columns: Vec<(Vec<String>, usize)> = self
            .beside
            .iter()
            .map(|(column, width)| {
                (
                    wrapped(row.get(*column).map_or("", String::as_str), *width),
                    *width,
                )
            })
            .collect();
        let height = columns
            .iter()
            .map(|(lines, _)| lines.len())
            .max()
            .unwrap_or(0);
        let line = |n: usize| {
            let cells = columns.iter().map(|(lines, width)| {
                let cell = lines.get(n).map_or("", String::as_str);
                format!("{cell}{}", " ".repeat(width.saturating_sub(cell.width())))
            });
            let line = cells.collect::<Vec<_>>().join(&" ".repeat(GAP));
            line.trim_end().to_owned()
        };
        (0..height).map(line).collect()
    }

    /// The cells that stand below, each with its head; what says nothing is left out.
    fn below(&self, head: &[String], row: &[String]) -> Vec<String> {
        let mut lines = Vec::new();
        for column in &self.below {
            let cell = row.get(*column).map_or("", String::as_str);
            if cell.is_empty() || cell == "–" {
                continue;
            }
            let name = head.get(*column).map_or("", String::as_str);
            let told = wrapped(
                &format!("{name}: {cell}"),
                self.room.saturating_sub(INDENT).max(1),
            );
            lines.extend(
                told.into_iter()
                    .map(|line| format!("{}{line}", " ".repeat(INDENT))),
            );
        }
        lines
    }
}

/// Fits the columns into `room`. The first column always stays: it says what the row is about.
fn plan(columns: &[usize], head: &[String], rows: &[Vec<String>], room: usize) -> Plan {
    let (mut kept, mut below) = (columns.to_vec(), Vec::new());
    loop {
        let natural = Plan::natural(kept.clone(), head, rows);
        let fitted = fit(&natural, head, rows, room);
        let towers = |plan: &Plan| {
            let tower = plan.tallest(rows).filter(|(height, _)| *height > TALLEST);
            tower.map(|(_, column)| column)
        };
        let moved = match &fitted {
            Some(plan) => towers(plan),
            None => natural
                .beside
                .iter()
                .skip(1)
                .max_by_key(|(_, width)| *width)
                .map(|(column, _)| *column),
        };
        let moved = moved
            .filter(|column| !head.is_empty() && kept.len() > 2 && kept.first() != Some(column));
        match (moved, fitted) {
            (Some(column), _) => {
                kept.retain(|one| *one != column);
                below.push(column);
                below.sort_unstable();
            }
            (None, Some(plan)) => return Plan { below, ..plan },
            (None, None) => {
                // Narrower than any word: whatever is left shares the room.
                let each = (room.saturating_sub(GAP * (kept.len() - 1)) / kept.len()).max(1);
                let beside = kept.iter().map(|column| (*column, each)).collect();
                return Plan {
                    beside,
                    below,
                    room,
                };
            }
        }
    }
}

/// The columns as wide as there is room for, none narrower than its longest word; `None` if that can't be.
fn fit(natural: &Plan, head: &[String], rows: &[Vec<String>], room: usize) -> Option<Plan> {
    let longest_word = |text: &str| {
        let words = text
            .split_whitespace()
            .map(|word| word.width().min(LONGEST_WORD));
        words.max().unwrap_or(0)
    };
    let mut beside: Vec<(usize, usize)> = natural
        .beside
        .iter()
        .map(|(column, _)| {
            (
                *column,
                cells(*column, head, rows)
                    .map(longest_word)
                    .max()
                    .unwrap_or(0),
            )
        })
        .collect();
    let used: usize =
        beside.iter().map(|(_, width)| width).sum::<usize>() + GAP * beside.len().saturating_sub(1);
    let mut spare = room.checked_sub(used)?;
    // Whoever lacks little gets it; what is left is shared by those that lack much.
    let mut lacking: Vec<(usize, usize)> = beside
        .iter()
        .zip(&natural.beside)
        .map(|((_, width), (_, wanted))| wanted.saturating_sub(*width))
        .enumerate()
        .collect();
    lacking.sort_by_key(|(_, lack)| *lack);
    for (n, (place, lack)) in lacking.iter().enumerate() {
        let given = (spare / (lacking.len() - n)).min(*lack);
        if let Some((_, width)) = beside.get_mut(*place) {
            *width += given;
        }
        spare -= given;
    }
    Some(Plan {
        beside,
        below: Vec::new(),
        room,
    })
}

fn cells<'a>(
    column: usize,
    head: &'a [String],
    rows: &'a [Vec<String>],
) -> impl Iterator<Item = &'a str> {
    let head = head.get(column);
    let rows = rows.iter().filter_map(move |row| row.get(column));
    head.into_iter().chain(rows).map(String::as_str)
}

fn longest_line(text: &str) -> usize {
    text.lines().map(UnicodeWidthStr::width).max().unwrap_or(0)
}

/// A text in lines no wider than `width`; only a word that is wider is broken.
pub(super) fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines = Vec::new();
    for line in text.lines() {
        if line.width() <= width {
            lines.push(line.to_owned());
            continue;
        }
        let mut made = String::new();
        for word in line.split(' ') {
            let blank = usize::from(!made.is_empty());
            if made.width() + blank + word.width() <= width {
                if blank == 1 {
                    made.push(' ');
                }
                made.push_str(word);
                continue;
            }
            if !made.trim().is_empty() {
                lines.push(std::mem::take(&mut made));
            }
            for letter in word.chars() {
                if made.width() + letter.to_string().width() > width && !made.is_empty() {
                    lines.push(std::mem::take(&mut made));
                }
                made.push(letter);
            }
        }
        lines.push(made);
    }
    if lines.is_empty() {
        lines.push(String::new());
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(rows: &[[&str; 4]], width: Option<u16>) -> Vec<String> {
        let head = ["horse", "from", "by", "why"].map(str::to_owned);
        let rows: Vec<Vec<String>> = rows
            .iter()
            .map(|row| row.map(str::to_owned).to_vec())
            .collect();
        lines(&head, &rows, width)
    }

    const ROW: [&str; 4] = [
        "Sandpiper",
        "2026-08-23",
        "2026-09-23",
        "no dose on record; every horse needs it, whatever its age and wherever it stands, and sooner rather than later",
    ];

    #[test]
    fn a_table_that_fits_has_a_line_for_each_row() {
        let told = table(&[["Tern", "2026-08-23", "–", "short"]], Some(80));
        assert_eq!(told[0], "horse   from         by   why");
        assert_eq!(told[2], "Tern    2026-08-23   –    short");
        assert_eq!(told, table(&[["Tern", "2026-08-23", "–", "short"]], None));
    }

    #[test]
    fn what_does_not_fit_stands_below_its_row_and_no_word_is_broken() {
        let told = table(&[ROW], Some(48));
        assert_eq!(told[0], "horse       from         by");
        assert_eq!(told[2], "Sandpiper   2026-08-23   2026-09-23");
        assert_eq!(told[3], "    why: no dose on record; every horse needs");
        for word in ROW.iter().flat_map(|cell| cell.split(' ')) {
            assert!(told.iter().any(|line| line.contains(word)), "{word}");
        }
        assert!(told.iter().all(|line| line.width() <= 48));
    }

    #[test]
    fn a_wordy_first_column_stays_first() {
        let row = [
            "Leans on the near hind; have someone stand at her head.",
            "Saltmarsh Yard",
            "2026-10-26 hoof care (farrier)",
            "trim or shoeing due by 2026-11-30, and 8 more",
        ];
        let told = table(&[row], Some(48));
        assert!(told[0].starts_with("horse"), "{told:?}");
        assert!(told[2].starts_with("Leans on"), "{told:?}");
        for word in row.iter().flat_map(|cell| cell.split(' ')) {
            assert!(
                told.iter().any(|line| line.contains(word)),
                "{word} in {told:?}"
            );
        }
    }

    #[test]
    fn nothing_is_lost_on_the_narrowest_terminal() {
        for width in 1..20 {
            let told = table(&[ROW], Some(width)).join("");
            let letters = |text: &str| text.chars().filter(|one| one.is_alphanumeric()).count();
            let wanted: usize = ROW.iter().map(|cell| letters(cell)).sum();
            assert!(letters(&told) >= wanted, "{width}");
        }
    }

    #[test]
    fn wide_letters_take_their_room() {
        assert_eq!(wrapped("小马 Tern", 4), ["小马", "Tern"]);
        assert_eq!(wrapped("", 4), [""]);
        assert_eq!(wrapped("one\ntwo", 9), ["one", "two"]);
    }
}
