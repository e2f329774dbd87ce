//! The composed picture under test: on discs whose places are known.

use egui::Color32;
use evenfilm_core::field::FieldResult;
use evenfilm_core::phases::Cuts;
use evenfilm_core::plane::{Plane, Rect};
use evenfilm_core::recipe::{Kind, Recipe};
use proptest::prelude::*;

use super::tones::{DEEP, SAND, SKY};
use super::*;
use crate::synthetic::{Disc, FILM, field, picture, pyramid};

/// A field with all that composing needs.
struct Case {
    result: FieldResult,
    picture: FieldPicture,
    marks: Marks,
    coarse: Option<Coarse>,
    greys: [Greys; 2],
    details: Vec<Detail>,
    layers: Layers,
    cuts: Option<Cuts>,
    bared: f32,
    thick: usize,
}

const AROUND: Color32 = Color32::from_rgb(1, 2, 3);

impl Case {
    fn new(result: FieldResult) -> Self {
        let picture = picture(&result);
        let marks = Marks::of(&result, &Recipe::default());
        let greys = [Greys::of_levels(Some(f64::from(FILM))), Greys::of_counts(picture.full_scale)];
        let layers = Layers::default();
        Self { result, picture, marks, coarse: None, greys, details: Vec::new(), layers, cuts: None, bared: 0.0, thick: 1 }
    }

    fn of(size: (u32, u32), discs: &[Disc], gaps: &[Disc]) -> Self {
        Self::new(field(size, discs, gaps))
    }

    fn compose(&self, seen: Seen, size: [usize; 2]) -> Shown {
        let mut pixels = vec![Color32::RED; 5];
        let scene = Scene {
            picture: &self.picture,
            details: &self.details,
            greys: [&self.greys[0], &self.greys[1]],
            found: Some((&self.result, &self.marks)),
            coarse: self.coarse.as_ref(),
            cuts: self.cuts.as_ref(),
            layers: self.layers,
            seen,
            size,
            bared: self.bared,
            thick: self.thick,
            around: AROUND,
        };
        compose(&scene, &mut pixels);
        assert_eq!(pixels.len(), size[0] * size[1]);
        Shown { pixels, width: size[0] }
    }

    /// All of it at a zoom.
    fn whole(&self, zoom: f64) -> Shown {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "sizes of small pictures")]
        let size = [self.picture.size.0, self.picture.size.1].map(|side| (f64::from(side) * zoom).ceil() as usize);
        self.compose(Seen { from: [0.0; 2], zoom }, size)
    }
}

#[derive(PartialEq)]
struct Shown {
    pixels: Vec<Color32>,
    width: usize,
}

impl Shown {
    fn at(&self, x: usize, y: usize) -> Color32 {
        self.pixels[y * self.width + x]
    }

    /// Whether a walk over side neighbours that are not of the line leads from one pixel to the frame.
    fn leaks(&self, from: (usize, usize), line: Color32) -> bool {
        let height = self.pixels.len() / self.width;
        let (mut seen, mut left) = (vec![false; self.pixels.len()], vec![from]);
        while let Some((x, y)) = left.pop() {
            if x == 0 || y == 0 || x + 1 == self.width || y + 1 == height {
                return true;
            }
            if std::mem::replace(&mut seen[y * self.width + x], true) || self.at(x, y) == line {
                continue;
            }
            left.extend([(x - 1, y), (x + 1, y), (x, y - 1), (x, y + 1)]);
        }
        false
    }

    fn count(&self, colour: Color32) -> usize {
        self.pixels.iter().filter(|pixel| **pixel == colour).count()
    }
}

#[test]
fn the_outline_of_a_disc_closes_at_every_zoom_and_width() {
    let mut case = Case::of((120, 100), &[(60.3, 50.2, 24.0)], &[]);
    // An agglomerate by its size; its hatch has the same colour.
    case.layers.set(Layer::Agglomerates, 0.0);
    for zoom in [0.3, 0.5, 0.77, 1.0, 1.4, 2.0, 3.6, 7.0] {
        for thick in [1, 2] {
            case.thick = thick;
            let shown = case.whole(zoom);
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place of a small picture")]
            let middle = ((60.3 * zoom) as usize, (50.2 * zoom) as usize);
            assert!(!shown.leaks(middle, SAND), "zoom {zoom}, width {thick}");
            // About the circumference: inside, and not a filled disc.
            let round = 2.0 * std::f64::consts::PI * 24.0 * zoom * thick as f64;
            let found = shown.count(SAND) as f64;
            assert!(found > 0.6 * round && found < 1.3 * round, "zoom {zoom}, width {thick}: {found} of {round}");
        }
    }
    case.layers.set(Layer::Outlines, 0.0);
    assert_eq!(case.whole(1.0).count(SAND), 0);
}

#[test]
fn lines_differ_by_their_dashes_and_lie_on_layers_of_their_own() {
    let mut result = field((400, 120), &[(60.0, 60.0, 40.0), (180.0, 60.0, 40.0), (300.0, 60.0, 40.0)], &[]);
    result.objects[1].told.kind = Kind::Fibre;
    // Half a pixel across: too small to count, whatever it looks like.
    result.objects[2].area_px2 = [0.2; 3];
    let mut case = Case::new(result);
    let along = |case: &Case| {
        let shown = case.whole(1.0);
        [0, 120, 240]
            .map(|from| (0..120).flat_map(|y| (from..from + 120).map(move |x| (x, y))).filter(|&(x, y)| shown.at(x, y) == SAND).count())
    };
    case.layers.set(Layer::Agglomerates, 0.0);
    let [solid, dashed, dotted] = along(&case);
    let share = |of: usize| of as f64 / solid as f64;
    assert!((share(dashed) - 0.6).abs() < 0.06 && (share(dotted) - 0.4).abs() < 0.06, "{solid} {dashed} {dotted}");
    case.layers.set(Layer::LeftOut, 0.0);
    assert_eq!(along(&case), [solid, 0, dotted]);
    (case.layers, case.thick) = (Layers::default(), 1);
    case.layers.set(Layer::Outlines, 0.0);
    let [hatch, dashes, none] = along(&case);
    assert!(hatch > 100 && hatch < 800, "{hatch}: only the hatch of the agglomerate");
    assert_eq!((dashes, none), (dashed, 0));
}

#[test]
fn gaps_have_dashes_of_two_colours_and_a_circle() {
    let mut result = field((200, 120), &[], &[(60.0, 60.0, 40.0), (150.0, 60.0, 20.0)]);
    result.gaps[0].largest_circle_px = 50.0;
    result.gaps[1].in_hollow = true;
    let case = Case::new(result);
    let shown = case.whole(1.0);
    assert!(!shown.pixels.contains(&SAND));
    let dark = |radius: f64| {
        // Along a ring: how many of its pixels have which colour.
        let ring = (0..360_u32).map(|angle| {
            let angle = f64::from(angle).to_radians();
            let (x, y) = (60.0 + radius * libm::cos(angle), 60.0 + radius * libm::sin(angle));
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place of a small picture")]
            let at = (x as usize, y as usize);
            at
        });
        ring.fold([0, 0], |sum, (x, y)| [sum[0] + u32::from(shown.at(x, y) == DEEP), sum[1] + u32::from(shown.at(x, y) == SKY)])
    };
    for radius in [24.5, 39.4] {
        let [deep, sky] = dark(radius);
        assert!(deep > 120 && sky > 60 && deep > sky, "at {radius}: {deep} dark, {sky} light");
    }
    assert_eq!(dark(32.0), [0, 0]);
    // The bright middle of a hollow thing is dotted and has no circle.
    let right = shown.pixels.iter().enumerate().filter(|(at, pixel)| at % 200 >= 125 && **pixel == SKY).count();
    assert_eq!(right, 0);
    let mut clear = field((200, 120), &[], &[(60.0, 60.0, 40.0)]);
    let flag = evenfilm_core::quality::FlagId::ClearFilm.flag(None, None);
    clear.flags.push(flag);
    assert_eq!(Case::new(clear).whole(1.0).count(DEEP), 0, "the bare ground of a clear film is not marked");
}

#[test]
fn beads_lie_between_constituents() {
    let mut result = field((100, 100), &[(50.0, 50.0, 30.0)], &[]);
    result.objects[0].necks_px = (0..40_u8).map(|step| [50.5, 30.25 + f32::from(step) / 2.0]).collect();
    let mut case = Case::new(result);
    case.layers.set(Layer::Agglomerates, 0.0);
    let shown = case.whole(1.0);
    assert!((30..50).all(|y| shown.at(50, y) == SAND) && shown.at(51, 40) != SAND);
    case.layers.set(Layer::Constituents, 0.0);
    assert_ne!(case.whole(1.0).at(50, 40), SAND);
}

#[test]
fn the_bared_part_is_the_original() {
    let mut case = Case::of((150, 90), &[(40.0, 40.0, 20.0), (100.0, 50.0, 20.0)], &[(75.0, 20.0, 12.0)]);
    case.layers.set(Layer::Phases, 1.0);
    let marked = case.whole(2.0);
    case.bared = 0.5;
    let half = case.whole(2.0);
    let tables = Greys::of_counts(case.picture.full_scale);
    for (y, x) in (0..180).flat_map(|y| (0..300).map(move |x| (y, x))) {
        let expected = if x < 150 {
            let count = case.picture.shot.planes[0][[y / 2, x / 2]];
            Color32::from_gray(tables.of(count))
        } else {
            marked.at(x, y)
        };
        assert_eq!(half.at(x, y), expected, "{x}, {y}");
    }
    (case.bared, case.layers) = (1.0, Layers([0.0; 8]));
    let bared = case.whole(2.0);
    case.bared = 0.0;
    assert!(case.whole(2.0) == bared, "without the light's correction and marks nothing else is left");
}

#[test]
fn no_object_vanishes_at_any_zoom() {
    let discs: Vec<Disc> = (0..64_u32)
        .map(|i| {
            let (x, y) = (f64::from(i % 8) * 100.0 + 51.3, f64::from(i / 8) * 100.0 + 47.8);
            (x, y, 0.6 + f64::from(i % 5) * 0.7)
        })
        .collect();
    for kind in [Kind::Powder, Kind::Fibre] {
        let mut result = field((800, 800), &discs, &[]);
        result.objects.iter_mut().for_each(|object| object.told.kind = kind);
        let mut case = Case::new(result);
        case.layers.set(Layer::Agglomerates, 0.0);
        for (zoom, halved) in [0.02, 0.05, 0.13, 0.3, 0.5, 0.9, 1.0, 1.7, 4.0].into_iter().flat_map(|zoom| [(zoom, false), (zoom, true)]) {
            case.coarse = halved.then(|| Coarse::of(&case.result));
            let shown = case.whole(zoom);
            let height = shown.pixels.len() / shown.width;
            let layers = std::mem::replace(&mut case.layers, Layers([1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]));
            let plain = case.whole(zoom);
            case.layers = layers;
            for &(x, y, r) in &discs {
                let reach = r * zoom + 2.5;
                let near = |at: f64, end: usize| {
                    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place of a small picture")]
                    let range = (at * zoom - reach).max(0.0) as usize..((at * zoom + reach) as usize + 1).min(end);
                    range
                };
                let seen = near(y, height).any(|v| near(x, shown.width).any(|u| shown.at(u, v) != plain.at(u, v)));
                assert!(seen, "{kind:?} at {x}, {y}, radius {r}, zoom {zoom}");
            }
        }
    }
}

#[test]
fn a_moved_mark_changes_the_tint_where_it_should_and_nothing_else() {
    let mut case = Case::of((300, 200), &[(100.0, 100.0, 40.0)], &[(220.0, 100.0, 30.0)]);
    case.layers = Layers([0.0; 8]);
    case.layers.set(Layer::Light, 1.0);
    let plain = case.whole(1.0);
    case.layers.set(Layer::Phases, 1.0);
    let of = |case: &mut Case, particle: f64, gap: Option<f64>| {
        case.cuts = Some(Cuts { particle, gap, ..case.picture.cuts.clone() });
        case.whole(1.0)
    };
    let film = f64::from(FILM);
    // Below all levels and above: as without a tint.
    assert!(of(&mut case, 0.01, None) == plain);
    let narrow = of(&mut case, 0.5, Some(0.9));
    let wide = of(&mut case, 1.01, Some(0.9));
    for (y, x) in (0..200).flat_map(|y| (0..300).map(move |x| (y, x))) {
        let level = f64::from(case.picture.light.planes[0][[y, x]]);
        let tint = |cut: f64| match level {
            l if l < cut * film => SAND,
            l if l > film + 0.9 * (32_768.0 - film) => DEEP,
            _ => plain.at(x, y),
        };
        assert_eq!((narrow.at(x, y), wide.at(x, y)), (tint(0.5), tint(1.01)), "{x}, {y}");
    }
    // With numbers of the choices the phases are those of the runs.
    case.cuts = None;
    let found = case.whole(1.0);
    assert_eq!((found.at(100, 100), found.at(220, 100), found.at(10, 10)), (SAND, DEEP, plain.at(10, 10)));
}

#[test]
fn finer_parts_win_over_coarse_planes() {
    let mut case = Case::of((256, 256), &[], &[]);
    case.layers = Layers([0.0; 8]);
    case.layers.set(Layer::Light, 1.0);
    let stripes = Plane::from_shape_fn((256, 256), |(_, x)| if x % 2 == 0 { 4000 } else { 20_000 });
    case.picture.light = pyramid(&stripes, 64 * 64);
    case.picture.shot = pyramid(&stripes, 64 * 64);
    assert_eq!(case.picture.light.first, 2);
    let coarse = case.whole(1.0);
    let mean = Color32::from_gray(case.greys[0].of(12_000));
    assert!(coarse.pixels.iter().all(|&pixel| pixel == mean));
    let at = Rect::new(64, 32, 64, 100);
    let part = Plane::from_shape_fn((100, 64), |(_, x)| if x % 2 == 0 { 4000 } else { 20_000 });
    case.details.push(Detail { at, reduction: 0, light: part.clone(), shot: part });
    let fine = case.whole(1.0);
    let greys = [4000, 20_000].map(|level| Color32::from_gray(case.greys[0].of(level)));
    for (y, x) in (0..256).flat_map(|y| (0..256).map(move |x| (y, x))) {
        let within = (64..128).contains(&x) && (32..132).contains(&y);
        assert_eq!(fine.at(x, y), if within { greys[x % 2] } else { mean }, "{x}, {y}");
    }
}

#[test]
fn from_afar_fine_stripes_are_grey_and_near_by_blocks() {
    let mut case = Case::of((512, 512), &[], &[]);
    case.layers = Layers([0.0; 8]);
    case.layers.set(Layer::Light, 1.0);
    let stripes = Plane::from_shape_fn((512, 512), |(_, x)| if x % 2 == 0 { 4000 } else { 20_000 });
    case.picture.light = pyramid(&stripes, 1 << 20);
    let mean = case.greys[0].of(12_000);
    for zoom in [0.9, 0.7, 0.51, 0.5, 0.3, 0.1, 0.03] {
        let shown = case.whole(zoom);
        let off = shown.pixels.iter().filter(|pixel| pixel.r() != mean && **pixel != AROUND).count();
        assert!(off <= shown.pixels.len() / shown.width * 2, "zoom {zoom}: {off} of {} are not grey", shown.pixels.len());
    }
    let blocks = case.whole(4.0);
    assert!((0..64).all(|x| blocks.at(x, 9) == Color32::from_gray(case.greys[0].of(if x / 4 % 2 == 0 { 4000 } else { 20_000 }))));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]
    /// Whatever is seen, and however oddly, comes out without a panic, as large as the screen, and the same again.
    #[test]
    fn nothing_odd_stops_it(
        size in (1u32..90, 1u32..90),
        screen in (0usize..120, 0usize..90),
        power in -10f64..6.0,
        from in (-300f64..300.0, -300f64..300.0),
        (bared, strength) in (-0.5f32..1.5, 0f32..1.0),
        (thick, live, odd) in (0usize..4, any::<bool>(), 0u8..4),
    ) {
        let discs = [(f64::from(size.0) / 2.0, f64::from(size.1) / 2.0, f64::from(size.0.min(size.1)) / 3.0)];
        let mut result = field(size, &discs, &[(0.0, 0.0, 4.0)]);
        result.objects[0].necks_px = [[0.0, 0.0], [f32::NAN, 1.0], [1e9, -1e9]].into();
        let mut case = Case::new(result);
        let found = &mut case.result;
        match odd {
            1 => found.phases[0].owner.clear(),
            2 => { found.phases[0].row_start.truncate(2); found.phases[1].runs.clear(); }
            3 => { found.objects.clear(); found.gaps[0].circle_centre_px = [f64::NAN; 2]; }
            _ => {}
        }
        if live {
            case.marks = Marks::of(&case.result, &Recipe::default());
        }
        case.layers = Layers([strength; 8]);
        (case.bared, case.thick) = (bared, thick);
        case.cuts = live.then(|| case.picture.cuts.clone());
        let seen = Seen { from: [from.0, from.1], zoom: libm::exp2(power) };
        let once = case.compose(seen, [screen.0, screen.1]);
        prop_assert!(once == case.compose(seen, [screen.0, screen.1]));
    }
}

#[test]
fn an_empty_picture_and_eyes_beyond_all_places_give_the_surroundings() {
    let mut case = Case::of((20, 20), &[(10.0, 10.0, 5.0)], &[]);
    for seen in [
        Seen { from: [1e30, 0.0], zoom: 1.0 },
        Seen { from: [f64::NAN, f64::INFINITY], zoom: f64::NAN },
        Seen { from: [0.0, -1e9], zoom: 1e300 },
        Seen { from: [0.0, 0.0], zoom: 0.0 },
    ] {
        assert_eq!(case.compose(seen, [9, 7]).pixels.len(), 63);
    }
    assert_eq!(case.compose(Seen { from: [500.0, 500.0], zoom: 1.0 }, [9, 7]).count(AROUND), 63);
    case.picture.light = evenfilm_core::pyramid::Pyramid::default();
    case.picture.shot = evenfilm_core::pyramid::Pyramid::default();
    assert_eq!(case.whole(1.0).count(AROUND), 400);
}
