//! From the backend's picture to the one that is handed out.
//!
//! The backend writes one element a line with every attribute spelled out, in plain colours and without alternative
//! text. Here sentinel colours become paints that follow the theme, defaults are left out, runs of equal dots
//! share their attributes, and the head carries the words for those who cannot see the picture.

use super::Alternative;
use super::ink;
use std::fmt::Write;

/// Canvas units in one unit of the layout. The backend knows whole numbers only; this keeps curves smooth.
pub(super) const FINENESS: f64 = 10.0;

/// The finished picture of `size` canvas units.
pub(super) fn finish(raw: &str, size: (u32, u32), alternative: Alternative) -> String {
    let mut svg = head(size, alternative);
    let mut dots = String::new();
    let mut lines = raw.lines();
    while let Some(line) = lines.next() {
        if line.starts_with("<svg") || line.starts_with("</svg") {
            continue;
        }
        let mut element = Element::read(line);
        if element.name == "circle" {
            let shared = element.take_shared();
            if shared != dots {
                close_dots(&mut svg, &mut dots);
                svg.extend(["<g", &shared, ">\n"]);
                dots = shared;
            }
        } else {
            close_dots(&mut svg, &mut dots);
        }
        svg.push_str(&element.open());
        if element.name == "text" {
            svg.push_str(lines.next().unwrap_or_default());
            svg.push_str(lines.next().unwrap_or_default());
        }
        svg.push('\n');
    }
    close_dots(&mut svg, &mut dots);
    svg.push_str("</svg>\n");
    svg
}

fn close_dots(svg: &mut String, dots: &mut String) {
    if !dots.is_empty() {
        svg.push_str("</g>\n");
        dots.clear();
    }
}

fn head((width, height): (u32, u32), alternative: Alternative) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" viewBox=\"0 0 {width} {height}\" \
         width=\"{}\" height=\"{}\" font-family=\"sans-serif\" stroke-linejoin=\"round\">\n\
         <title>{}</title>\n<desc>{}</desc>\n",
        f64::from(width) / FINENESS,
        f64::from(height) / FINENESS,
        escape(alternative.title),
        escape(alternative.description),
    )
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

/// One element as the backend wrote it, with the attributes that are worth keeping.
struct Element<'a> {
    name: &'a str,
    attributes: Vec<(&'a str, String)>,
    closed: bool,
}

impl<'a> Element<'a> {
    fn read(line: &'a str) -> Self {
        let (name, rest) = line.trim_start_matches('<').split_once(' ').unwrap_or((line, ""));
        let mut attributes = Vec::new();
        // Attribute values hold no quotation marks: the backend escapes them.
        let parts: Vec<&str> = rest.split('"').collect();
        let stroked = parts.chunks(2).any(|pair| pair[0].trim() == "stroke=" && pair.get(1) != Some(&"none"));
        for pair in parts.chunks_exact(2) {
            let key = pair[0].trim().trim_end_matches('=');
            rewrite(name, key, pair[1], stroked, &mut attributes);
        }
        Self { name, attributes, closed: line.ends_with("/>") }
    }

    /// Takes out everything but the place and size of a dot.
    fn take_shared(&mut self) -> String {
        let shared =
            self.attributes.extract_if(.., |(key, _)| !matches!(*key, "cx" | "cy" | "r")).collect::<Vec<_>>();
        written(&shared)
    }

    fn open(&self) -> String {
        format!("<{}{}{}", self.name, written(&self.attributes), if self.closed { "/>" } else { ">" })
    }
}

fn written(attributes: &[(&str, String)]) -> String {
    attributes.iter().fold(String::new(), |mut text, (key, value)| {
        // Writing into a string cannot fail.
        let _ = write!(text, " {key}=\"{value}\"");
        text
    })
}

fn rewrite<'a>(element: &str, key: &'a str, value: &str, stroked: bool, kept: &mut Vec<(&'a str, String)>) {
    match key {
        "opacity" if value == "1" => {}
        // In a group of dots the opacity belongs to each dot.
        "opacity" if element == "circle" => kept.push(("fill-opacity", value.to_owned())),
        "stroke" if value == "none" => {}
        "stroke-width" if !stroked => {}
        "text-anchor" if value == "start" => {}
        "font-family" => {}
        // Text is placed by its middle; half the height of capitals and digits is 0.36 em in the usual fonts.
        "dy" => kept.push((key, "0.36em".to_owned())),
        "font-size" => kept.push((key, format!("{:.0}", value.parse().unwrap_or(0.0_f64)))),
        "fill" | "stroke" => match ink::paint(value) {
            Some((paint, dash)) => {
                kept.push((key, paint));
                if element == "text" && !dash.is_empty() {
                    // A dashed letter has no meaning: here it asks for a halo.
                    kept.push(("stroke", ink::paper()));
                    kept.push(("stroke-width", "25".to_owned()));
                    kept.push(("paint-order", "stroke".to_owned()));
                } else if !dash.is_empty() {
                    kept.push(("stroke-dasharray", dash.to_owned()));
                }
            }
            None => kept.push((key, value.to_owned())),
        },
        "points" => kept.push((key, value.trim_end().to_owned())),
        _ => kept.push((key, value.to_owned())),
    }
}
