//! A field from pixels to numbers: drawn discs of known place, size and darkness.

use super::*;
use crate::plane::Plane;
use crate::recipe::FillHoles;
use std::sync::atomic::AtomicBool;

const OPTICS: Optics = Optics { um_per_px: 0.25, numerical_aperture: Some(0.65), wavelength_nm: Some(550.0), full_scale: u16::MAX };

fn measured(picture: &Plane<u16>, blank: Option<&Plane<u16>>, recipe: &Recipe) -> Result<FieldResult, Stop> {
    let cancel = AtomicBool::new(false);
    let watch = Watch { cancel: &cancel, tell: &|_, _| () };
    let lamp = Lamp::new(blank.map(|b| b as &dyn Samples), None, watch)?;
    let setting = Setting { optics: &OPTICS, recipe, necks: false, watch };
    let (surveyed, correction) = survey(picture, &lamp, &setting)?;
    measure(picture, (&surveyed, &correction), None, &setting)
}

fn flags(result: &FieldResult) -> Vec<&str> {
    result.flags.iter().map(|f| f.id).collect()
}

/// A film of transmission 0.45 with discs (x, y, radius, transmission), 16 samples a pixel, without blur.
fn film(width: usize, height: usize, discs: &[(f64, f64, f64, f64)]) -> Plane<u16> {
    Plane::from_shape_fn((height, width), |(row, column)| {
        let sample = |k: usize| {
            let (x, y) = (column as f64 + (k % 4) as f64 / 4.0 + 0.125, row as f64 + (k / 4) as f64 / 4.0 + 0.125);
            discs.iter().find(|d| (x - d.0).powi(2) + (y - d.1).powi(2) < d.2 * d.2).map_or(0.45, |d| d.3)
        };
        objects::to_level((0..16).map(sample).sum::<f64>() / 16.0 * 40_000.0)
    })
}

#[test]
fn pictures_without_a_film_are_results_with_flags() {
    let recipe = Recipe::default();
    for (width, height) in [(1, 1), (1, 300), (300, 1), (2, 2), (65, 64), (200, 130)] {
        let blank = Plane::from_elem((height, width), 40_000u16);
        for (value, flag) in [(0u16, "black"), (u16::MAX, "clipped"), (40_000, "clear_film"), (18_000, "no_objects")] {
            let picture = Plane::from_elem((height, width), value);
            for blank in [Some(&blank), None] {
                let result = measured(&picture, blank, &recipe).unwrap();
                assert!(result.objects.is_empty(), "{width} × {height} at {value}");
                assert!(blank.is_none() || flags(&result).contains(&flag), "{width} × {height} at {value}: {:?}", flags(&result));
                assert_eq!(blank.is_none(), flags(&result).contains(&"no_blank"));
                let shows_nothing = value == 0 || value == u16::MAX || blank.is_none();
                assert_eq!(result.bare_measured, !shows_nothing, "{width} × {height} at {value}");
                assert_eq!(result.phases[0].row_start.len(), height + 1);
            }
        }
    }
}

#[test]
fn a_saturated_film_shows_no_gaps() {
    let blank = Plane::from_elem((128, 128), 40_000u16);
    // A strip of film; the rest is at full scale.
    let picture = Plane::from_shape_fn((128, 128), |(_, c)| if c < 40 { 18_000 } else { u16::MAX });
    let result = measured(&picture, Some(&blank), &Recipe::default()).unwrap();
    assert!(!result.bare_measured && result.gaps.is_empty() && result.thin_area_px2.is_none() && result.film_od.is_none());
    assert!(flags(&result).contains(&"clipped") && !flags(&result).contains(&"clear_film"));
}

#[test]
fn a_blank_of_another_size_is_refused() {
    let stop = measured(&Plane::zeros((10, 12)), Some(&Plane::from_elem((10, 11), 9)), &Recipe::default()).unwrap_err();
    assert!(stop.to_string().contains("blank") && stop.to_string().contains("11 × 10"), "{stop}");
}

#[test]
fn a_cancelled_field_stops() {
    let cancel = AtomicBool::new(true);
    let watch = Watch { cancel: &cancel, tell: &|_, _| () };
    assert!(matches!(Lamp::new(Some(&Plane::from_elem((9, 9), 1u16)), None, watch), Err(Stop::Cancelled)));
}

#[test]
fn a_faint_particle_beside_a_dark_one_survives() {
    let blank = Plane::from_elem((80, 120), 40_000u16);
    // Edge to edge 2.2 px; the fainter one darkens a third as much.
    let picture = film(120, 80, &[(40.0, 40.0, 6.0, 0.05), (53.2, 40.0, 5.0, 0.32), (90.0, 40.0, 6.0, 0.05)]);
    let result = measured(&picture, Some(&blank), &Recipe::default()).unwrap();
    let centres: Vec<(f64, f64)> = result.objects.iter().map(|o| (o.centroid_px[0].round(), o.diameter_px().round())).collect();
    assert_eq!(centres, [(40.0, 12.0), (90.0, 12.0), (53.0, 10.0)]);
}

#[test]
fn one_ragged_piece_is_one_object_and_touching_the_frame_is_seen() {
    let blank = Plane::from_elem((80, 120), 40_000u16);
    let picture = film(120, 80, &[(40.0, 40.0, 6.0, 0.05), (50.0, 43.0, 5.0, 0.05), (119.0, 40.0, 6.0, 0.05)]);
    let result = measured(&picture, Some(&blank), &Recipe::default()).unwrap();
    let seen: Vec<(bool, bool)> = result.objects.iter().map(|o| (o.touches_frame, o.weight.is_none())).collect();
    assert_eq!(seen, [(false, false), (true, true)]);
}

#[test]
fn quarter_turns_and_mirrors_leave_the_numbers() {
    let blank = Plane::from_elem((200, 300), 40_000u16);
    let mut discs = vec![
        (40.0, 60.0, 7.3, 0.05),
        (120.7, 33.0, 5.1, 0.05),
        (80.0, 130.0, 24.0, 1.0),
        (150.0, 150.0, 9.0, 0.05),
        (161.0, 160.0, 5.0, 0.05),
        // A bubble: its centre is as bright as the film.
        (246.2, 49.6, 14.0, 0.45),
        (246.2, 49.6, 18.0, 0.05),
    ];
    // Clumps of touching discs, and a fibre.
    discs.extend([(60.4, 12.2), (66.9, 18.9), (75.9, 16.6), (72.1, 27.3), (63.0, 29.1)].map(|(x, y)| (x, y, 4.7, 0.05)));
    discs.extend([(200.3, 150.2, 8.3), (214.8, 158.1, 8.1), (201.4, 166.9, 8.4), (228.0, 147.5, 8.9)].map(|(x, y, r)| (x, y, r, 0.05)));
    discs.extend((0..130).map(|i| (150.0 + f64::from(i), 92.3 + 0.2 * f64::from(i), 3.1, 0.05)));
    let picture = film(300, 200, &discs);
    let totals = |p: &Plane<u16>, blank: &Plane<u16>| {
        let r = measured(p, Some(blank), &Recipe::default()).unwrap();
        let particles: f64 = r.objects.iter().map(|o| o.area_px2[1]).sum();
        let mut parts: Vec<(f64, Kind, Vec<f32>)> =
            r.objects.iter().map(|o| (o.area_px2[1], o.told.kind, o.constituents_px2.to_vec())).collect();
        parts.sort_by(|a, b| a.0.total_cmp(&b.0));
        ((r.objects.len(), r.gaps.len(), particles, r.gaps[0].area_px2[1], r.gaps[0].largest_circle_px), parts)
    };
    let (first, parts) = totals(&picture, &blank);
    let kinds = |kind| parts.iter().filter(|p| p.1 == kind).count();
    assert_eq!((kinds(Kind::Hollow), kinds(Kind::Fibre)), (1, 1), "{parts:?}");
    let mut clumps: Vec<usize> = parts.iter().filter(|p| p.1 == Kind::Powder).map(|p| p.2.len()).filter(|&n| n > 2).collect();
    clumps.sort_unstable();
    assert_eq!(clumps, [4, 5], "{parts:?}");
    let swapped = |p: &Plane<u16>| p.clone().reversed_axes().as_standard_layout().to_owned();
    let mirrored = Plane::from_shape_fn((200, 300), |(r, c)| picture[[r, 299 - c]]);
    let turned = swapped(&mirrored);
    let near = |a: f64, b: f64| (a / b - 1.0).abs() < 1e-6;
    for (other, others) in [totals(&swapped(&picture), &swapped(&blank)), totals(&mirrored, &blank), totals(&turned, &swapped(&blank))] {
        assert_eq!((first.0, first.1), (other.0, other.1));
        assert!(near(first.2, other.2) && near(first.3, other.3), "{first:?} {other:?}");
        assert!((first.4 / other.4 - 1.0).abs() < 5e-3, "{first:?} {other:?}");
        for (a, b) in parts.iter().zip(&others) {
            assert_eq!((a.1, a.2.len()), (b.1, b.2.len()), "{a:?} {b:?}");
            assert!(a.2.iter().zip(&b.2).all(|(x, y)| near(f64::from(*x), f64::from(*y))), "{a:?} {b:?}");
        }
    }
}

#[test]
fn noise_alone_is_no_powder() {
    let blank = Plane::from_elem((256, 256), 40_000u16);
    let picture = Plane::from_shape_fn((256, 256), |(r, c)| {
        let mut state = (r as u64 * 65_537 + c as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        let mut sum = 0u64;
        for _ in 0..4 {
            state ^= state >> 29;
            state = state.wrapping_mul(0xbf58_476d_1ce4_e5b9);
            sum += state >> 54;
        }
        objects::to_level(18_000.0 + (sum as f64 - 2046.0) * 0.6)
    });
    let result = measured(&picture, Some(&blank), &Recipe::default()).unwrap();
    assert_eq!((result.objects.len(), result.gaps.len()), (0, 0));
}

#[test]
fn the_recipe_says_from_where_on_a_pixel_may_be_powder() {
    let blank = Plane::from_elem((80, 120), 40_000u16);
    // One disc a fifth darker than the film, one much darker.
    let picture = film(120, 80, &[(40.0, 40.0, 6.0, 0.36), (90.0, 40.0, 6.0, 0.05)]);
    let found = |detect, fixed_level| {
        let mut recipe = Recipe::default();
        (recipe.particles.detect, recipe.particles.fixed_level) = (detect, fixed_level);
        measured(&picture, Some(&blank), &recipe).unwrap().objects.len()
    };
    assert_eq!(found(Detect::Auto, 0.5), 2);
    assert_eq!((found(Detect::Fixed, 0.5), found(Detect::Fixed, 0.9)), (1, 2));
}

#[test]
fn one_and_two_threads_give_the_same_numbers() {
    let blank = Plane::from_elem((300, 400), 40_000u16);
    let discs: Vec<_> = (0..60)
        .map(|i| {
            (f64::from(i % 10) * 39.0 + 20.3, f64::from(i / 10) * 48.0 + 30.0, 3.0 + f64::from(i % 7), if i % 9 == 0 { 1.0 } else { 0.06 })
        })
        .collect();
    let picture = film(400, 300, &discs);
    let with = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| format!("{:?}", measured(&picture, Some(&blank), &Recipe::default()).unwrap()))
    };
    let one = with(1);
    assert!(one.len() > 10_000);
    assert!(one == with(2) && one == with(5));
}

#[test]
fn holes_are_filled_only_when_dark() {
    let blank = Plane::from_elem((140, 240), 40_000u16);
    // Two rings of transmission 0.05, one around a spot two thirds as deep as it, one around film; and discs that tell the blur.
    let mut discs = vec![(40.0, 40.0, 5.0, 0.18), (40.0, 40.0, 14.0, 0.05), (85.0, 40.0, 5.0, 0.45), (85.0, 40.0, 14.0, 0.05)];
    discs.extend((0..7).map(|i| (22.0 + 30.0 * f64::from(i), 100.0, 10.0, 0.05)));
    let picture = film(240, 140, &discs);
    let areas = |edge, fill_holes| {
        let mut recipe = Recipe::default();
        (recipe.particles.edge, recipe.particles.fill_holes) = (edge, fill_holes);
        let result = measured(&picture, Some(&blank), &recipe).unwrap();
        result.objects.iter().take(2).map(|o| o.area_px2[1]).collect::<Vec<_>>()
    };
    let (whole, hole) = (std::f64::consts::PI * 196.0, std::f64::consts::PI * 25.0);
    // The deeper edge lies a third of a pixel further in, on either line.
    let [outer, inner] = [14.0, 5.0].map(|radius| 0.33 * std::f64::consts::TAU * radius);
    let near = |found: &[f64], expected: [f64; 2]| {
        assert!(found.len() == 2 && found.iter().zip(expected).all(|(f, e)| (f - e).abs() < 0.2 * hole), "{found:?} {expected:?}");
    };
    // With the edge half way a hole shallower than that is bright, and one deeper is none.
    near(&areas(0.5, FillHoles::Dark), [whole, whole - hole]);
    near(&areas(0.8, FillHoles::Dark), [whole - outer, whole - hole - outer - inner]);
    near(&areas(0.8, FillHoles::Never), [whole - hole - outer - inner; 2]);
}

/// Two touching discs are parted where they touch, and a round gap has its circle in its middle: the places that they were drawn at.
#[test]
fn what_a_window_draws_lies_where_it_was_drawn() {
    let blank = Plane::from_elem((160, 240), 40_000u16);
    let alone = [(40.0, 110.0, 9.0, 0.08), (100.0, 120.0, 9.0, 0.08), (200.0, 30.0, 9.0, 0.08)];
    let picture = film(240, 160, &[&alone[..], &[(60.0, 50.5, 10.0, 0.08), (79.0, 50.5, 10.0, 0.08), (170.25, 90.0, 14.0, 1.0)]].concat());
    let cancel = AtomicBool::new(false);
    let watch = Watch { cancel: &cancel, tell: &|_, _| () };
    let recipe = Recipe::default();
    let lamp = Lamp::new(Some(&blank), None, watch).unwrap();
    for necks in [false, true] {
        let setting = Setting { optics: &OPTICS, recipe: &recipe, necks, watch };
        let (surveyed, correction) = survey(&picture, &lamp, &setting).unwrap();
        let result = measure(&picture, (&surveyed, &correction), None, &setting).unwrap();
        assert_eq!((result.objects.len(), result.gaps.len()), (4, 1));
        let [x, y] = result.gaps[0].circle_centre_px;
        assert!((x - 170.25).abs() < 0.5 && (y - 90.0).abs() < 0.5, "{x} {y}");
        for object in &result.objects {
            let wanted = necks && object.constituents() == 2;
            assert_eq!(wanted, !object.necks_px.is_empty());
            assert!(object.necks_px.iter().all(|[x, y]| (x - 69.5).abs() <= 1.0 && (y - 50.5).abs() < 5.0), "{:?}", object.necks_px);
        }
        assert_eq!(result.objects.iter().map(Object::constituents).collect::<Vec<_>>().iter().filter(|&&n| n == 2).count(), 1);
        let (asked, taken) = (surveyed.cuts(None, &recipe), join_field(&picture, (&surveyed, &correction), None, &setting).unwrap().cuts);
        assert_eq!((asked.particle.to_bits(), asked.gap), (taken.particle.to_bits(), taken.gap));
        assert!(asked.film.values().eq(taken.film.values()));
    }
}
