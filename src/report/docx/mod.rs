//! The report as a document for a word processor: native headings, captions and tables; the charts as pictures.

mod columns;
mod patch;
mod picture;

use super::document::Document;
use super::evidence::{Chart, Entry, Finding, Section, Table};
use columns::Columns;
use docx_rs::{
    AbstractNumbering, AlignmentType, Docx, FieldCharType, Footer, Hyperlink, HyperlinkType, IndentLevel, InstrText,
    Level, LevelJc, LevelText, LineSpacing, NumPages, NumberFormat, Numbering, NumberingId, PageMargin, PageNum,
    Paragraph, Pic, Run, RunFonts, Shading, SpecialIndentType, Start, Style, StyleType, TableBorder,
    TableBorderPosition, TableBorders, TableCell, TableCellMargins, TableLayoutType, TableRow, WidthType,
};
use picture::{Painter, Picture};
use std::io::{self, Cursor};

/// A4 between margins of 20 mm, in twentieths of a point.
const PAGE: (u32, u32) = (11_906, 16_838);
const MARGIN: i32 = 1_134;
const TEXT_WIDTH: usize = 9_638;

/// Width of a picture, in millimetres: a wide one takes the whole line.
const NARROW_MM: f64 = 120.0;
const WIDE_MM: f64 = 170.0;

/// English metric units in a millimetre.
const EMU: f64 = 36_000.0;

/// The document has no clock: it is always of the same day.
const DATE: &str = "2000-01-01T00:00:00Z";

/// The list with dots.
const DOTS: usize = 2;

/// The file of a document.
///
/// # Errors
/// If a picture cannot be drawn or the file not be packed.
pub fn document(document: &Document) -> io::Result<Vec<u8>> {
    let parquet = &document.parquet;
    let mut writer =
        Writer { docx: prepared(), painter: Painter::new(), parquet, anchors: 0, tables: 0, figures: Vec::new() };
    writer.front(document);
    for (number, section) in (1..).zip(&document.sections) {
        writer.section(number, section)?;
    }
    let mut parts = writer.docx.build();
    parts.document = patch::patch(&parts.document, &writer.figures)?;
    let mut file = Cursor::new(Vec::new());
    parts.pack(&mut file).map_err(io::Error::other)?;
    Ok(file.into_inner())
}

/// An empty document with its styles.
fn prepared() -> Docx {
    let font = "Calibri";
    let fonts = RunFonts::new().ascii(font).hi_ansi(font).cs(font).east_asia(font);
    let spaced = |before: u32, after: u32| LineSpacing::new().before(before).after(after);
    let heading = |id: &str, name: &str, level: usize, size: usize, before: u32| {
        Style::new(id, StyleType::Paragraph)
            .name(name)
            .based_on("Normal")
            .next("Normal")
            .q_format(true)
            .size(size)
            .bold()
            .outline_lvl(level)
            .line_spacing(spaced(before, 120))
    };
    let named =
        |id: &str, name: &str| Style::new(id, StyleType::Paragraph).name(name).based_on("Normal").q_format(true);
    let dots =
        Level::new(0, Start::new(1), NumberFormat::new("bullet"), LevelText::new("\u{2022}"), LevelJc::new("left"))
            .indent(Some(360), Some(SpecialIndentType::Hanging(260)), None, None);
    let small = |text: &str| Run::new().add_text(text).size(16);
    let footer = Paragraph::new()
        .align(AlignmentType::Right)
        .add_run(small("page "))
        .add_page_num(PageNum::new())
        .add_run(small(" of "))
        .add_num_pages(NumPages::new());
    Docx::new()
        .created_at(DATE)
        .updated_at(DATE)
        .page_size(PAGE.0, PAGE.1)
        .page_margin(PageMargin::new().top(MARGIN).bottom(MARGIN).left(MARGIN).right(MARGIN).header(567).footer(567))
        .default_fonts(fonts)
        .default_size(20)
        .add_style(named("Normal", "Normal").line_spacing(spaced(0, 120)))
        .add_style(named("Title", "Title").size(40).bold().line_spacing(spaced(0, 200)))
        .add_style(heading("Heading1", "heading 1", 0, 30, 480))
        .add_style(heading("Heading2", "heading 2", 1, 24, 280))
        .add_style(named("Caption", "caption").size(18).line_spacing(spaced(160, 80)))
        .add_style(named("Cell", "Table cell").size(columns::SIZE).line_spacing(spaced(20, 20)))
        .add_abstract_numbering(AbstractNumbering::new(DOTS).add_level(dots))
        .add_numbering(Numbering::new(DOTS, DOTS))
        .footer(Footer::new().add_paragraph(footer))
}

struct Writer<'a> {
    docx: Docx,
    painter: Painter,
    parquet: &'a [String],
    anchors: usize,
    tables: usize,
    /// Alternative text of each picture so far.
    figures: Vec<String>,
}

impl Writer<'_> {
    fn add(&mut self, paragraph: Paragraph) {
        self.docx = std::mem::take(&mut self.docx).add_paragraph(paragraph);
    }

    fn text(&mut self, style: &str, text: &str) {
        self.add(Paragraph::new().style(style).add_run(Run::new().add_text(text)));
    }

    /// Title and contents; the links of the contents lead to the headings.
    fn front(&mut self, document: &Document) {
        self.text("Normal", document.heading);
        self.text("Title", &document.title);
        if document.draft {
            self.add(Paragraph::new().add_run(Run::new().add_text("DRAFT").bold().color("A12A17")));
        }
        if !document.foreword.is_empty() {
            self.text("Normal", document.foreword);
        }
        for (number, section) in (1..).zip(&document.sections) {
            let link = Run::new().add_text(format!("{number}  {}", section.title)).color("0B5C8A");
            self.add(Paragraph::new().add_hyperlink(Hyperlink::new(section.id, HyperlinkType::Anchor).add_run(link)));
        }
    }

    fn heading(&mut self, style: &str, anchor: &str, text: &str) {
        self.anchors += 1;
        let paragraph = Paragraph::new()
            .style(style)
            .keep_next(true)
            .add_bookmark_start(self.anchors, anchor)
            .add_run(Run::new().add_text(text))
            .add_bookmark_end(self.anchors);
        self.add(paragraph);
    }

    fn section(&mut self, number: usize, section: &Section) -> io::Result<()> {
        self.heading("Heading1", section.id, &format!("{number}  {}", section.title));
        for entry in &section.entries {
            match entry {
                Entry::Heading { id, title } => self.heading("Heading2", id, title),
                Entry::Paragraph { text } => self.text("Normal", text),
                Entry::List { items } => items.iter().for_each(|item| self.item(item)),
                Entry::Verdict(finding) => self.verdict(finding),
                Entry::Table(table) => self.table(table),
                // Nothing moves on paper; the table beside it says the same.
                Entry::WhatIf(_) => {}
                Entry::Charts { charts } => charts.iter().try_for_each(|chart| self.chart(chart))?,
            }
        }
        Ok(())
    }

    fn item(&mut self, text: &str) {
        let run = Run::new().add_text(text);
        self.add(Paragraph::new().numbering(NumberingId::new(DOTS), IndentLevel::new(0)).add_run(run));
    }

    fn verdict(&mut self, finding: &Finding) {
        let colour = match finding.verdict {
            "pass" | "equivalent" | "not worse" => "0F6B47",
            "fail" | "different" | "worse" => "A12A17",
            _ => "6B5200",
        };
        let risk = finding.risk.as_ref().map_or(String::new(), |risk| format!(" (risk {risk})"));
        let asked = Paragraph::new()
            .keep_next(true)
            .add_run(Run::new().add_text(finding.verdict.to_uppercase()).bold().color(colour))
            .add_run(Run::new().add_text(format!("  {}", finding.label)).bold())
            .add_run(Run::new().add_text(format!("{risk}: {}", finding.text)));
        self.add(asked);
        self.text("Normal", &finding.sentence);
    }

    /// A caption that the word processor numbers, with the words behind it.
    fn caption(kind: &str, number: usize, anchor: &str, at: usize, words: &str, reading: &str) -> Paragraph {
        let field = Run::new()
            .bold()
            .add_field_char(FieldCharType::Begin, false)
            .add_instr_text(InstrText::Unsupported(format!("SEQ {kind} \\* ARABIC")))
            .add_field_char(FieldCharType::Separate, false)
            .add_text(number.to_string())
            .add_field_char(FieldCharType::End, false);
        Paragraph::new()
            .style("Caption")
            .keep_lines(true)
            .add_bookmark_start(at, anchor)
            .add_run(Run::new().add_text(format!("{kind} ")).bold())
            .add_run(field)
            .add_bookmark_end(at)
            .add_run(Run::new().add_text(format!("  {words}. ")).bold())
            .add_run(Run::new().add_text(reading))
    }

    /// What holds a table.
    fn files(&self, name: &str) -> String {
        let twin = self.parquet.iter().any(|tidy| tidy == name);
        if twin { format!("tables/{name}.csv, tables/{name}.parquet") } else { format!("tables/{name}.csv") }
    }

    fn table(&mut self, table: &Table) {
        self.tables += 1;
        self.anchors += 1;
        let reading = format!("{} File: {}", table.reading, self.files(&table.csv));
        let caption = Self::caption("Table", self.tables, &table.id, self.anchors, &table.caption, &reading);
        self.add(caption.keep_next(true));
        let Columns { widths, size } = Columns::of(table, TEXT_WIDTH);
        let cell = |text: &str, column: usize, bold: bool| {
            let run = Run::new().add_text(text);
            let run = if bold { run.bold() } else { run };
            let run = if size == columns::SIZE { run } else { run.size(size) };
            let numbers = table.columns.get(column).is_some_and(|heading| heading.numbers);
            let align = if numbers { AlignmentType::Right } else { AlignmentType::Left };
            let width = widths.get(column).copied().unwrap_or_default();
            TableCell::new()
                .width(width, WidthType::Dxa)
                .add_paragraph(Paragraph::new().style("Cell").align(align).add_run(run))
        };
        let head = table
            .columns
            .iter()
            .enumerate()
            .map(|(column, heading)| cell(&heading.name, column, true).shading(Shading::new().fill("E6EAED")));
        // A row that may not break is the mark by which the head is known later: see `patch`.
        let mut rows = vec![TableRow::new(head.collect()).cant_split()];
        for row in &table.rows {
            let cells = row.iter().enumerate().map(|(column, text)| cell(text, column, column == 0));
            rows.push(TableRow::new(cells.collect()));
        }
        let line = |position| TableBorder::new(position).size(4).color("9AA3A9");
        let borders = TableBorders::with_empty()
            .set(line(TableBorderPosition::Top))
            .set(line(TableBorderPosition::Bottom))
            .set(line(TableBorderPosition::InsideH));
        let native = docx_rs::Table::new(rows)
            .set_grid(widths.clone())
            .layout(TableLayoutType::Fixed)
            .width(TEXT_WIDTH, WidthType::Dxa)
            .margins(TableCellMargins::new().margin(20, 60, 20, 60))
            .set_borders(borders);
        self.docx = std::mem::take(&mut self.docx).add_table(native);
        self.add(Paragraph::new().line_spacing(LineSpacing::new().after(60)));
    }

    fn chart(&mut self, chart: &Chart) -> io::Result<()> {
        let width_mm = if chart.wide { WIDE_MM } else { NARROW_MM };
        let Picture { png, width, height } = self.painter.paint(&chart.svg, width_mm)?;
        self.figures.push(alternative(&chart.svg));
        self.anchors += 1;
        let number = self.figures.len();
        let size = |millimetres: f64| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // some hundred millimetres
            let units = (millimetres * EMU) as u32;
            units
        };
        let tall_mm = width_mm * f64::from(height) / f64::from(width);
        let picture = Pic::new_with_dimensions(png, width, height)
            .id(format!("rIdImage{number}"))
            .size(size(width_mm), size(tall_mm));
        self.add(Paragraph::new().keep_next(true).add_run(Run::new().add_image(picture)));
        let reading = format!("{} Files: charts/{}.svg, {}", chart.reading, chart.id, self.files(&chart.csv));
        let anchor = format!("chart-{}", chart.id);
        let caption = Self::caption("Figure", number, &anchor, self.anchors, &chart.caption, &reading);
        self.add(caption);
        Ok(())
    }
}

/// What a picture shows, for those who cannot see it: the words that the chart carries.
fn alternative(svg: &str) -> String {
    let between = |open: &str, close: &str| svg.split_once(open)?.1.split_once(close).map(|(text, _)| text);
    let words = [between("<title>", "</title>"), between("<desc>", "</desc>")];
    let words: Vec<_> = words.into_iter().flatten().collect();
    words.join(". ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::evidence::Heading;

    const CHART: &str = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 3000 2000\" width=\"300\" height=\"200\" \
                         font-family=\"sans-serif\"><title>A \"plain\" chart</title><desc>Less than 1 &lt; 2.</desc>\
                         <text x=\"300\" y=\"900\" font-size=\"300\" fill=\"#1f1f1f\">0.5 mm</text></svg>";

    fn sample() -> Document {
        let table = |id: &str, rows: usize| {
            Entry::Table(Table {
                id: id.to_owned(),
                caption: "Errors <all> & more".to_owned(),
                reading: "How to read it.".to_owned(),
                columns: [("output", false), ("bias", true)]
                    .map(|(name, numbers)| Heading { name: name.to_owned(), numbers })
                    .into(),
                rows: (0..rows).map(|row| vec![format!("row {row}"), "−0.5".to_owned()]).collect(),
                csv: "errors".to_owned(),
            })
        };
        let chart = |id: &str| Chart {
            id: id.to_owned(),
            caption: "What it shows".to_owned(),
            reading: "How to read it.".to_owned(),
            svg: CHART.to_owned(),
            wide: id == "two",
            csv: "errors".to_owned(),
        };
        let verdict = Finding {
            verdict: "not shown",
            label: "ACC-01".to_owned(),
            text: "Within 3 degrees.".to_owned(),
            risk: Some("R-12".to_owned()),
            sentence: "ACC-01 is not shown.".to_owned(),
        };
        let entries = vec![
            Entry::heading("sub", "A subsection"),
            Entry::paragraph("A paragraph."),
            Entry::List { items: vec!["One.".to_owned(), "Two.".to_owned()] },
            Entry::Verdict(verdict),
            table("table-one", 3),
            Entry::Charts { charts: vec![chart("one"), chart("two")] },
            table("table-two", 200),
        ];
        let section = Section { id: "results", title: "Errors found", entries };
        Document::whole("Primary hip".to_owned(), vec![section])
    }

    /// The parts of the file are stored as they are, so that its text can be searched.
    fn count(file: &[u8], word: &str) -> usize {
        file.windows(word.len()).filter(|window| *window == word.as_bytes()).count()
    }

    #[test]
    fn identity_the_same_bytes_each_time() {
        let first = document(&sample()).unwrap();
        let again = document(&sample()).unwrap();
        let elsewhere = std::thread::spawn(|| document(&sample()).unwrap()).join().unwrap();
        assert!(first == again && first == elsewhere);
    }

    #[test]
    fn identity_heads_repeat_and_pictures_have_words_and_numbers_of_their_own() {
        let file = document(&sample()).unwrap();
        assert_eq!(count(&file, "<w:tblHeader/>"), 2);
        assert_eq!(count(&file, "<w:cantSplit/>"), 2 + 3 + 200);
        for number in [1, 2] {
            let words = "descr=\"A &quot;plain&quot; chart. Less than 1 &lt; 2.\"";
            assert_eq!(count(&file, &format!("<wp:docPr id=\"{number}\" name=\"Figure {number}\" {words}")), 1);
            assert_eq!(count(&file, &format!("word/media/rIdImage{number}.png")), 2, "its place and the list of all");
        }
        assert_eq!((count(&file, "SEQ Table"), count(&file, "SEQ Figure")), (2, 2));
        assert_eq!(count(&file, "Errors &lt;all&gt; &amp; more"), 2);
        assert_eq!(count(&file, "ACC-01 is not shown."), 1);
        assert_eq!((count(&file, "w:val=\"Heading1\""), count(&file, "w:val=\"Heading2\"")), (1, 1));
    }

    #[test]
    #[ignore = "needs Debian's libreoffice-writer-nogui"]
    fn outside_a_word_processor_opens_it() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("report.docx"), document(&sample()).unwrap()).unwrap();
        let profile = format!("-env:UserInstallation=file://{}/profile", folder.path().display());
        let status = std::process::Command::new("soffice")
            .args([&profile, "--headless", "--convert-to", "pdf", "report.docx"])
            .current_dir(folder.path())
            .status();
        assert!(status.unwrap().success());
        let pdf = std::fs::read(folder.path().join("report.pdf")).unwrap();
        assert!(pdf.starts_with(b"%PDF") && pdf.len() > 10_000);
    }
}
