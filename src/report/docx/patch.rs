//! What the document library cannot write: rows that are repeated on each page, and pictures with words and numbers of
//! their own.

use std::fmt::Write as _;
use std::io;

/// How the library writes the properties of a row that may not break over pages (here: the head of a table), and of any
/// other row.
const HEAD: &str = "<w:trPr><w:cantSplit /></w:trPr>";
const ROW: &str = "<w:trPr />";

/// How it begins the properties of every picture.
const PICTURE: &str = "<wp:docPr id=\"1\" name=\"Figure\"";

/// The text of a document with repeated heads, rows that stay whole, and `alternatives` to its pictures in their order.
pub fn patch(document: &[u8], alternatives: &[String]) -> io::Result<Vec<u8>> {
    let text = std::str::from_utf8(document).map_err(io::Error::other)?;
    let text = text
        .replace(HEAD, "<w:trPr><w:cantSplit/><w:tblHeader/></w:trPr>")
        .replace(ROW, "<w:trPr><w:cantSplit/></w:trPr>");
    let mut pieces = text.split(PICTURE);
    let mut patched = pieces.next().unwrap_or_default().to_owned();
    let mut pictures = 0;
    for (number, (piece, words)) in (1..).zip(pieces.zip(alternatives)) {
        // The words come from a chart, where angle brackets and ampersands are escaped already.
        let words = words.replace('"', "&quot;");
        // Writing to a string cannot fail.
        let _ = write!(patched, "<wp:docPr id=\"{number}\" name=\"Figure {number}\" descr=\"{words}\"{piece}");
        pictures += 1;
    }
    if pictures == alternatives.len() {
        Ok(patched.into_bytes())
    } else {
        Err(io::Error::other(format!("{pictures} of {} pictures found in the document", alternatives.len())))
    }
}
