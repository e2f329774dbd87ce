//! Fields of discs with known places, for tests and benchmarks of the picture.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use eframe::egui;
use evenfilm_core::field::{FieldResult, FilmSeen, Ground, Judged};
use evenfilm_core::gaps::{Gap, GapMeasure, ToldGap};
use evenfilm_core::light::FilmGrid;
use evenfilm_core::objects::{Calibration, CoreFrom, Measure, Object, SizedBy, Told};
use evenfilm_core::phases::{Cuts, Run, RunMap};
use evenfilm_core::plane::{ONE, Plane, Rect, Samples, Watch};
use evenfilm_core::pyramid::{MOST_HELD_PX, Pyramid};
use evenfilm_core::quality::field::Fitness;
use evenfilm_core::recipe::{GapKind, Kind};
use evenfilm_core::shape::Shape;
use evenfilm_record::lot::{Inspected, InspectedField};

use crate::canvas::FieldPicture;
use crate::state::{Card, Listed, Lot, Run as Going};
use crate::{Desk, Places};

/// A disc: centre and radius, px.
pub type Disc = (f64, f64, f64);

/// Level of the film.
pub const FILM: u16 = 14_636;

/// Level of particles.
pub const DARK: u16 = 3000;

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "places within a small picture")]
const fn px(at: f64) -> u32 {
    at as u32
}

/// Runs of discs that do not meet; the owner of a run is the number of its disc.
fn runs(size: (u32, u32), discs: &[Disc]) -> RunMap {
    let mut rows: Vec<Vec<(Run, u32)>> = vec![Vec::new(); size.1 as usize];
    for (owner, &(cx, cy, r)) in (0..).zip(discs) {
        for y in px((cy - r - 1.0).max(0.0))..px(cy + r + 2.0).min(size.1) {
            let off = f64::from(y) + 0.5 - cy;
            let half = (r * r - off * off).max(0.0).sqrt();
            let (x0, x1) = (px((cx - half).round().max(0.0)), px((cx + half).round().max(0.0)).min(size.0));
            if x0 < x1 {
                rows[y as usize].push((Run { x0, x1 }, owner));
            }
        }
    }
    let mut map = RunMap { row_start: vec![0], ..RunMap::default() };
    for mut row in rows {
        row.sort_by_key(|(run, _)| run.x0);
        map.runs.extend(row.iter().map(|(run, _)| *run));
        map.owner.extend(row.iter().map(|(_, owner)| *owner));
        map.row_start.push(u32::try_from(map.runs.len()).unwrap_or(u32::MAX));
    }
    map
}

fn around(&(x, y, r): &Disc) -> Rect {
    let (from_x, from_y) = (px((x - r).round().max(0.0)), px((y - r).round().max(0.0)));
    Rect::new(from_x, from_y, px((x + r).round()).max(from_x + 1) - from_x, px((y + r).round()).max(from_y + 1) - from_y)
}

fn object(disc: &Disc) -> Object {
    Object {
        at: around(disc),
        centroid_px: [disc.0, disc.1],
        surround: FILM,
        core: DARK,
        core_from: CoreFrom::Own,
        area_px2: [std::f64::consts::PI * disc.2 * disc.2; 3],
        sized_by: SizedBy::Outline,
        shape: Shape::default(),
        od: [0.5, 0.9],
        touches_frame: false,
        weight: Some(1.0),
        constituents_px2: Box::default(),
        necks_px: Box::default(),
        told: Told { kind: Kind::Powder, by: Measure::Elongation, value: 1.25 },
    }
}

fn gap(disc: &Disc) -> Gap {
    Gap {
        at: around(disc),
        centroid_px: [disc.0, disc.1],
        area_px2: [std::f64::consts::PI * disc.2 * disc.2; 3],
        perimeter_px: 2.0 * std::f64::consts::PI * disc.2,
        largest_circle_px: 2.0 * disc.2,
        circle_centre_px: [disc.0, disc.1],
        touches_frame: false,
        told: ToldGap { kind: GapKind::Round, by: GapMeasure::Circularity, value: 0.9 },
        in_hollow: false,
    }
}

/// A field of discs and round gaps at 0.25 µm a pixel that counts objects from 1.5 µm and gaps from 2 µm.
pub fn field(size: (u32, u32), discs: &[Disc], gaps: &[Disc]) -> FieldResult {
    FieldResult {
        size,
        um_per_px: 0.25,
        resolution_px: 2.1,
        objects: discs.iter().map(object).collect(),
        gaps: gaps.iter().map(gap).collect(),
        bare_measured: true,
        counted_from_um: [1.5, 2.0],
        phases: [runs(size, discs), runs(size, gaps)],
        gap_cut_od_pct: None,
        thin_area_px2: None,
        film_od: Some(0.35),
        film_od_cv_pct: None,
        calibration: Calibration { blur_px: 1.0, blur_edges: 0, core_ratio: 0.2, cores: 0 },
        fitness: Fitness::default(),
        ground: Ground::default(),
        judged: Judged::default(),
        flags: Vec::new(),
    }
}

/// The picture of such a field: a film with a little texture, particles dark, gaps as light as the empty slide.
pub fn picture(result: &FieldResult) -> FieldPicture {
    let size = (result.size.1 as usize, result.size.0 as usize);
    let texture = |y: usize, x: usize| u16::try_from((x * 31 + y * 17) % 23 * 20).unwrap_or(0);
    let mut light = Plane::from_shape_fn(size, |(y, x)| FILM + texture(y, x));
    for (map, level) in result.phases.iter().zip([DARK, ONE]) {
        for (y, ends) in map.row_start.windows(2).enumerate() {
            for run in &map.runs[ends[0] as usize..ends[1] as usize] {
                (run.x0..run.x1).for_each(|x| light[[y, x as usize]] = level);
            }
        }
    }
    // The lamp falls off to one side.
    let width = size.1.max(1);
    let shot = Plane::from_shape_fn(size, |(y, x)| {
        let count = u32::from(light[[y, x]]) * u32::try_from(4 * width - x).unwrap_or(1) / u32::try_from(4 * width).unwrap_or(1);
        u16::try_from(count).unwrap_or(u16::MAX)
    });
    FieldPicture {
        field: 0,
        size: result.size,
        um_per_px: result.um_per_px,
        full_scale: 40_000,
        light: pyramid(&light, MOST_HELD_PX),
        shot: pyramid(&shot, MOST_HELD_PX),
        film: Some(FilmSeen { level: FILM, share: 0.8 }),
        bare_known: true,
        cuts: Cuts { film: FilmGrid::flat(f64::from(FILM)), particle: 0.98, gap: Some(0.5) },
        levels_seen: Vec::new(),
    }
}

/// The planes of a picture that have at most so many pixels.
pub fn pyramid(plane: &Plane<u16>, most_px: u64) -> Pyramid {
    static GO: AtomicBool = AtomicBool::new(false);
    let read = |at: Rect, out: &mut Vec<u16>| {
        out.resize(usize::try_from(at.area()).unwrap_or(0), 0);
        plane.read(at, out)
    };
    Pyramid::build(plane.size(), most_px, &read, Watch { cancel: &GO, tell: &|_, _| () }).unwrap_or_default()
}

/// A field that is crowded evenly: so many discs of 2 to 9 px, and a gap in every hundredth place.
pub fn crowded(size: (u32, u32), count: u32) -> FieldResult {
    let area = f64::from(size.0) * f64::from(size.1);
    let pitch = (area / f64::from(count.max(1))).sqrt();
    let across = px(f64::from(size.0) / pitch).max(1);
    let (mut discs, mut gaps) = (Vec::new(), Vec::new());
    for place in 0..count {
        let (x, y) = ((f64::from(place % across) + 0.5) * pitch, (f64::from(place / across) + 0.5) * pitch);
        let radius = pitch * (0.1 + 0.3 * f64::from(place * 7919 % 97) / 97.0);
        if place % 100 == 99 { gaps.push((x, y, pitch * 0.45)) } else { discs.push((x, y, radius)) }
    }
    field(size, &discs, &gaps)
}

/// A desk with a lot of one such field, measured.
pub fn desk(settings: &Path, result: FieldResult) -> Desk {
    // No first start, which would render a sample.
    let _ = std::fs::write(settings.join("settings.json"), "{}");
    let mut desk = Desk::new(&Places { settings: settings.into(), data: settings.into() }, None);
    let mut lot = Lot::new(&Listed { folder: settings.join("lot"), name: Some("lot".into()), fault: None });
    lot.picture = Some(Arc::new(picture(&result)));
    lot.cards = vec![Card { name: "f01.tif".into(), ..Card::default() }; 4];
    let field = InspectedField {
        sha256: String::new(),
        number: 1,
        name: "f01.tif".into(),
        slide: String::new(),
        objective: 0,
        flags: result.flags.clone(),
        result,
        values: Vec::new(),
        rejected: String::new(),
        stays: true,
        corrected_objects: std::collections::BTreeSet::new(),
        corrected_gaps: std::collections::BTreeSet::new(),
    };
    lot.measured = Some(Arc::new(Inspected { objectives: Vec::new(), fields: vec![field] }));
    lot.measured_with = Some(lot.now.clone());
    lot.run = Going::Idle;
    desk.state.lot = Some(lot);
    desk
}

impl Desk {
    /// Moves the eye of a synthetic desk.
    pub fn look(&mut self, zoom: Option<f64>, centre: Option<[f64; 2]>) {
        if let Some(lot) = &mut self.state.lot {
            (lot.camera.zoom, lot.camera.centre) = (zoom, centre);
        }
    }

    /// Changes the level below which a pixel may belong to a particle, as a drag does, without a new run.
    pub fn drag_mark(&mut self, noise_factor: f64) {
        if let Some(lot) = &mut self.state.lot {
            lot.now.recipe.particles.noise_factor = noise_factor;
        }
    }

    /// Shows the picture alone in a pass of this size.
    pub fn show_picture(&mut self, ctx: &egui::Context, size: [f32; 2]) -> egui::FullOutput {
        self.pass(ctx, size, Vec::new())
    }

    /// Presses the pointer beside everything and holds it, as while a mark is pulled.
    pub fn hold(&mut self, ctx: &egui::Context, size: [f32; 2]) {
        let (pos, button, modifiers) = (egui::Pos2::new(1.0, 1.0), egui::PointerButton::Primary, egui::Modifiers::NONE);
        self.pass(ctx, size, vec![egui::Event::PointerMoved(pos), egui::Event::PointerButton { pos, button, pressed: true, modifiers }]);
    }

    fn pass(&mut self, ctx: &egui::Context, size: [f32; 2], events: Vec<egui::Event>) -> egui::FullOutput {
        let screen_rect = Some(egui::Rect::from_min_size(egui::Pos2::ZERO, size.into()));
        ctx.run_ui(egui::RawInput { screen_rect, events, ..egui::RawInput::default() }, |ui| self.show(ui))
    }
}
