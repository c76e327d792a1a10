//! Columns of a table on a page of fixed width: no word is broken as long as there is room for the longest one of each column.

use crate::report::evidence::{Heading, Table};

/// Size of the letters of a table, in half points, and the least to which a table of many columns shrinks them.
pub const SIZE: usize = 16;
const LEAST_SIZE: usize = 11;

/// Widths of narrow letters, of others and of the widest of that size, bold ones among them, and of the margins of a cell, in
/// twentieths of a point.
const NARROW: usize = 48;
const LETTER: usize = 86;
const WIDEST: usize = 140;
const MARGINS: usize = 130;

/// Longer cells are set on several lines, in twentieths of a point.
const LONGEST_LINE: usize = 48 * LETTER;

/// How wide each column is, in twentieths of a point, and how large the letters are, in half points.
#[derive(Debug, PartialEq, Eq)]
pub struct Columns {
    /// Widths, which together fill the page.
    pub widths: Vec<usize>,
    /// Size of the letters.
    pub size: usize,
}

impl Columns {
    /// Of a table across so much of a page.
    pub fn of(table: &Table, across: usize) -> Self {
        let of_longest = |longest: fn(&str) -> usize| -> Vec<usize> {
            let column = |(column, heading): (usize, &Heading)| {
                let cells = table.rows.iter().filter_map(|row| row.get(column));
                cells.chain([&heading.name]).map(|text| longest(text)).max().unwrap_or_default() + MARGINS
            };
            table.columns.iter().enumerate().map(column).collect()
        };
        let (words, lines) = (of_longest(longest_word), of_longest(|text| width(text).min(LONGEST_LINE)));
        let needed: usize = words.iter().sum();
        if needed > across {
            let widths = words.iter().map(|word| across * word / needed).collect();
            return Self { widths, size: (SIZE * across / needed).max(LEAST_SIZE) };
        }
        // What is left goes to the columns whose lines are longer than their words, or to all alike.
        let more: Vec<usize> = lines.iter().zip(&words).map(|(line, word)| line.saturating_sub(*word)).collect();
        let shares = if more.iter().any(|&more| more > 0) { &more } else { &words };
        let all = shares.iter().sum::<usize>().max(1);
        let widths = words.iter().zip(shares).map(|(word, share)| word + (across - needed) * share / all).collect();
        Self { widths, size: SIZE }
    }
}

/// Width of a text on one line.
fn width(text: &str) -> usize {
    let letter = |c: char| match c {
        'f' | 'i' | 'j' | 'l' | 'r' | 't' | 'I' | '.' | ',' | ':' | ';' | '\'' | '(' | ')' | '[' | ']' | '|' => {
            NARROW
        }
        'm' | 'w' | 'M' | 'W' | '%' | '@' => WIDEST,
        _ => LETTER,
    };
    text.chars().map(letter).sum()
}

/// Width of the longest part of a text that is not broken; a blank between a number and its unit does not break it.
fn longest_word(text: &str) -> usize {
    let breaks = |c: char| c == '-' || c.is_whitespace() && !['\u{a0}', '\u{202f}'].contains(&c);
    text.split(breaks).map(width).max().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(heads: &[&str], row: &[&str]) -> Table {
        Table {
            id: String::new(),
            caption: String::new(),
            reading: String::new(),
            columns: heads.iter().map(|name| Heading { name: (*name).to_owned(), numbers: false }).collect(),
            rows: vec![row.iter().map(|cell| (*cell).to_owned()).collect()],
            csv: String::new(),
        }
    }

    #[test]
    fn identity_every_word_has_room() {
        let long = "a text of many words that needs several lines in whatever column of the table it stands";
        let table =
            table(&["requirement", "state", "what it says", "bias"], &["ACC-01", "shown", long, "0.12\u{a0}mm"]);
        let Columns { widths, size } = Columns::of(&table, 9_638);
        assert_eq!(size, SIZE);
        for (found, word) in widths.iter().zip(["requirement", "shown", "whatever", "0.12\u{a0}mm"]) {
            assert!(*found >= width(word) + MARGINS, "{word}: {widths:?}");
        }
        assert!(widths[2] > widths[0] + widths[1] && widths.iter().sum::<usize>() <= 9_638, "{widths:?}");
    }

    #[test]
    fn identity_many_columns_have_smaller_letters() {
        let heads = ["inclination"; 14];
        let Columns { widths, size } = Columns::of(&table(&heads, &["1.0"; 14]), 9_638);
        assert!((LEAST_SIZE..SIZE).contains(&size), "{size}");
        // The letters shrink at least as much as their column.
        assert!(widths.iter().all(|found| found * SIZE >= size * width("inclination")), "{widths:?}, {size}");
    }
}
