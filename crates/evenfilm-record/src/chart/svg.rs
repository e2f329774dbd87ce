//! A scene as a picture that browsers and other programs open (SVG 1.1, W3C Recommendation of 2011-08-16).

use std::fmt::Write as _;

use super::palette::Palette;
use super::pen::CAPITAL;
use super::scene::{Anchor, Baseline, Ink, Mark, Point, Scene};

/// Families that a text is set in, the first that is there.
const FAMILIES: &str = "'DejaVu Sans', 'Noto Sans', sans-serif";

/// A scene as a standalone SVG file; the same bytes for the same scene everywhere. Places are rounded to two decimals.
pub fn svg(scene: &Scene, palette: &Palette) -> String {
    let mut out = String::new();
    let (width, height) = (number(scene.width), number(scene.height));
    out.push_str("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    let _ = writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" version=\"1.1\" width=\"{width}pt\" height=\"{height}pt\" viewBox=\"0 0 {width} {height}\" font-family=\"{FAMILIES}\">"
    );
    let _ = writeln!(out, "<title>{}</title>\n<desc>{}</desc>", escaped(&scene.title), escaped(&scene.description));
    let ground = colour(palette, Ink::Ground);
    let _ = writeln!(out, "<rect width=\"{width}\" height=\"{height}\" fill=\"{ground}\"/>");
    for mark in &scene.marks {
        push(&mut out, mark, palette);
    }
    out.push_str("</svg>\n");
    out
}

fn push(out: &mut String, mark: &Mark, palette: &Palette) {
    match mark {
        Mark::Line { points, stroke, width, dash } => {
            let dash = dash.map_or_else(String::new, |[on, off]| format!(" stroke-dasharray=\"{} {}\"", number(on), number(off)));
            let (points, colour, width) = (listed(points), colour(palette, *stroke), number(*width));
            let _ = writeln!(out, "<polyline points=\"{points}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\"{dash}/>");
        }
        Mark::Fill { points, ink, share } => {
            let _ = writeln!(out, "<polygon points=\"{}\" {}/>", listed(points), filled(palette, *ink, *share));
        }
        Mark::Rect { at, size, ink, share } => {
            let [x, y, width, height] = [at[0], at[1], size[0], size[1]].map(number);
            let _ = writeln!(out, "<rect x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{height}\" {}/>", filled(palette, *ink, *share));
        }
        Mark::Circle { at, radius, ink, hollow } => {
            let look = match hollow {
                Some(width) => format!(
                    "fill=\"{}\" stroke=\"{}\" stroke-width=\"{}\"",
                    colour(palette, Ink::Ground),
                    colour(palette, *ink),
                    number(*width)
                ),
                None => filled(palette, *ink, 1.0),
            };
            let _ = writeln!(out, "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" {look}/>", number(at[0]), number(at[1]), number(*radius));
        }
        Mark::Text { .. } => push_text(out, mark, palette),
    }
}

fn push_text(out: &mut String, mark: &Mark, palette: &Palette) {
    let Mark::Text { at, text, size, anchor, baseline, ink, bold, turned } = mark else { return };
    let down = match baseline {
        Baseline::Alphabetic => 0.0,
        Baseline::Middle => 0.5 * CAPITAL * size,
        Baseline::Top => CAPITAL * size,
    };
    // What lies lower in a turned text lies further to the right.
    let [x, y] = if *turned { [at[0] + down, at[1]] } else { [at[0], at[1] + down] };
    let (x, y) = (number(x), number(y));
    let anchor = match anchor {
        Anchor::Start => "",
        Anchor::Middle => " text-anchor=\"middle\"",
        Anchor::End => " text-anchor=\"end\"",
    };
    let turn = if *turned { format!(" transform=\"rotate(-90 {x} {y})\"") } else { String::new() };
    let weight = if *bold { " font-weight=\"bold\"" } else { "" };
    let (size, colour, text) = (number(*size), colour(palette, *ink), escaped(text));
    let _ = writeln!(out, "<text x=\"{x}\" y=\"{y}\" font-size=\"{size}\" fill=\"{colour}\"{anchor}{weight}{turn}>{text}</text>");
}

fn filled(palette: &Palette, ink: Ink, share: f64) -> String {
    let colour = colour(palette, ink);
    if share < 1.0 { format!("fill=\"{colour}\" fill-opacity=\"{}\"", number(share)) } else { format!("fill=\"{colour}\"") }
}

fn colour(palette: &Palette, ink: Ink) -> String {
    let [red, green, blue] = palette.of(ink);
    format!("#{red:02x}{green:02x}{blue:02x}")
}

fn listed(points: &[Point]) -> String {
    points.iter().map(|[x, y]| format!("{},{}", number(*x), number(*y))).collect::<Vec<_>>().join(" ")
}

/// A number with at most two decimals; never "-0", and 0 for what is none.
fn number(value: f64) -> String {
    let rounded = (value * 100.0).round() / 100.0;
    if rounded == 0.0 || !rounded.is_finite() { "0".into() } else { format!("{rounded}") }
}

/// Text as XML 1.0 holds it; characters that XML does not allow become U+FFFD.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\t' | '\n' | '\r' => out.push(' '),
            '\0'..'\u{20}' | '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            _ => out.push(letter),
        }
    }
    out
}
