//! Charts of the record crate, painted.

use egui::{Color32, CornerRadius, FontFamily, FontId, Painter, Pos2, Rect, Response, Sense, Shape, Stroke, Ui, Vec2};
use evenfilm_record::chart::{Anchor, Baseline, Canvas, Ink, Mark, Palette, Scene};

/// Paints a chart where the layout is, and names it for those who cannot see it.
pub(super) fn show(ui: &mut Ui, scene: &Scene) -> Response {
    let size = Vec2::new(points(scene.width), points(scene.height));
    let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
    paint(ui.painter(), rect.min, scene, palette(ui));
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Image, true, format!("{}. {}", scene.title, scene.description)));
    response
}

/// The canvas of a chart that fills so much of the window, its text as the window's small text.
pub(super) fn canvas(size: Vec2) -> Canvas {
    Canvas { width: f64::from(size.x), height: f64::from(size.y), points: 13.0 }
}

/// The palette of the look.
pub(super) fn palette(ui: &Ui) -> &'static Palette {
    if ui.visuals().dark_mode { &Palette::DARK } else { &Palette::LIGHT }
}

fn paint(painter: &Painter, origin: Pos2, scene: &Scene, palette: &Palette) {
    let at = |[x, y]: [f64; 2]| origin + Vec2::new(points(x), points(y));
    let of = |ink: &Ink| {
        let [r, g, b] = palette.of(*ink);
        Color32::from_rgb(r, g, b)
    };
    for mark in &scene.marks {
        match mark {
            Mark::Line { points: line, stroke, width, dash } => {
                let line: Vec<Pos2> = line.iter().copied().map(at).collect();
                let stroke = Stroke::new(points(*width), of(stroke));
                match dash {
                    Some([on, off]) => painter.extend(Shape::dashed_line(&line, stroke, points(*on), points(*off))),
                    None => drop(painter.line(line, stroke)),
                }
            }
            Mark::Fill { points: corners, ink, share } => {
                let corners: Vec<Pos2> = corners.iter().copied().map(at).collect();
                painter.add(fill(&corners, of(ink).gamma_multiply(points(*share))));
            }
            Mark::Rect { at: corner, size: [width, height], ink, share } => {
                let rect = Rect::from_min_size(at(*corner), Vec2::new(points(*width), points(*height)));
                painter.rect_filled(rect, CornerRadius::ZERO, of(ink).gamma_multiply(points(*share)));
            }
            Mark::Circle { at: centre, radius, ink, hollow } => match hollow {
                Some(width) => drop(painter.circle_stroke(at(*centre), points(*radius), Stroke::new(points(*width), of(ink)))),
                None => drop(painter.circle_filled(at(*centre), points(*radius), of(ink))),
            },
            Mark::Text { at: place, text, size, anchor, baseline, ink, turned, .. } => {
                let font = FontId::new(points(*size), FontFamily::Proportional);
                words(painter, at(*place), text, &font, of(ink), (*anchor, *baseline, *turned));
            }
        }
    }
}

/// A closed area; what is hollow inwards is cut into triangles from its corners' ears.
fn fill(corners: &[Pos2], colour: Color32) -> Shape {
    let mut mesh = egui::Mesh::default();
    for &corner in corners {
        mesh.colored_vertex(corner, colour);
    }
    let flat: Vec<[f32; 2]> = corners.iter().map(|corner| [corner.x, corner.y]).collect();
    for [a, b, c] in ears(&flat) {
        mesh.add_triangle(a, b, c);
    }
    Shape::mesh(mesh)
}

/// Triangles of a simple polygon, by clipping ears.
fn ears(corners: &[[f32; 2]]) -> Vec<[u32; 3]> {
    let mut left: Vec<usize> = (0..corners.len()).collect();
    let cross = |[a, b, c]: [usize; 3]| {
        let [a, b, c] = [corners[a], corners[b], corners[c]];
        (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    };
    let area: f32 =
        (0..corners.len()).map(|i| (corners[i], corners[(i + 1) % corners.len()])).map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum();
    let inside = |ear: [usize; 3], p: usize| {
        let [a, b, c] = ear;
        [[a, b, p], [b, c, p], [c, a, p]].into_iter().all(|side| cross(side) * area.signum() > 0.0)
    };
    let mut found = Vec::new();
    while left.len() >= 3 {
        let n = left.len();
        let ear = (0..n).find(|&i| {
            let ear = [left[(i + n - 1) % n], left[i], left[(i + 1) % n]];
            cross(ear) * area.signum() >= 0.0 && !left.iter().any(|&p| !ear.contains(&p) && inside(ear, p))
        });
        // A polygon that crosses itself is filled as far as it goes.
        let i = ear.unwrap_or(0);
        let number = |at: usize| u32::try_from(left[at % n]).unwrap_or(0);
        found.push([number(i + n - 1), number(i), number(i + 1)]);
        left.remove(i);
    }
    found
}

fn words(painter: &Painter, at: Pos2, text: &str, font: &FontId, colour: Color32, (anchor, baseline, turned): (Anchor, Baseline, bool)) {
    let galley = painter.layout_no_wrap(text.to_owned(), font.clone(), colour);
    let size = galley.size();
    let across = match anchor {
        Anchor::Start => 0.0,
        Anchor::Middle => 0.5,
        Anchor::End => 1.0,
    };
    // Of a line of text, letters stand at about four fifths; capitals reach seven tenths above that.
    let (stand, capital) = (0.79 * size.y, 0.70 * font.size);
    let down = match baseline {
        Baseline::Alphabetic => stand,
        Baseline::Middle => stand - capital / 2.0,
        Baseline::Top => stand - capital,
    };
    let corner = Vec2::new(across * size.x, down);
    if turned {
        let place = at - Vec2::new(corner.y, -corner.x);
        let shape = egui::epaint::TextShape::new(place, galley, colour).with_angle(-std::f32::consts::FRAC_PI_2);
        painter.add(shape);
    } else {
        painter.galley(at - corner, galley, colour);
    }
}

/// Points as the window has them.
#[expect(clippy::cast_possible_truncation, reason = "places on a screen")]
const fn points(length: f64) -> f32 {
    length as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    fn area(corners: &[[f32; 2]]) -> f32 {
        let triangle = |[a, b, c]: [u32; 3]| {
            let [a, b, c] = [a, b, c].map(|i| corners[i as usize]);
            ((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])).abs() / 2.0
        };
        ears(corners).into_iter().map(triangle).sum()
    }

    #[test]
    fn triangles_fill_what_they_should() {
        let square = [[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]];
        assert_eq!(ears(&square).len(), 2);
        // An L, both ways round, and a comb as a curve over a line has it.
        let mut ell = vec![[0.0, 0.0], [3.0, 0.0], [3.0, 1.0], [1.0, 1.0], [1.0, 3.0], [0.0, 3.0]];
        assert!((area(&ell) - 5.0).abs() < 1e-5);
        ell.reverse();
        assert!((area(&ell) - 5.0).abs() < 1e-5);
        let comb: Vec<[f32; 2]> = vec![[0.0, 0.0], [1.0, 4.0], [2.0, 1.0], [3.0, 4.0], [4.0, 0.0]];
        assert!((area(&comb) - 9.0).abs() < 1e-5, "{}", area(&comb));
        assert!(ears(&[]).is_empty() && ears(&[[0.0, 0.0], [1.0, 1.0]]).is_empty());
    }
}
