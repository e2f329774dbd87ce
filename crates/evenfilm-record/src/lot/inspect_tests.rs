//! Looking at a lot: the numbers of a record without one, and the same from a memo.

use std::fs::{self, File};
use std::sync::atomic::AtomicUsize;

use evenfilm_core::plane::{ONE, Plane, Rect};
use evenfilm_core::recipe::{FrameRule, Kind, Recipe};
use tiff::encoder::TiffEncoder;
use tiff::encoder::colortype::Gray16;

use super::memo::Memo;
use super::tests::tree;
use super::*;
use crate::fault::FaultKind;
use crate::folder::Options;
use crate::phantom_files::{PhantomKind, PhantomOptions, PictureFile, write_phantom};
use crate::pictures::{Budget, Picture, Reading};
use crate::time::Moment;

const HEAD: &str = "field,thing,x_um,y_um,change,to,reason,by,at\n";

/// Two objectives with dust on the optics; of the first a field without film, which waits, and a picture that is there twice.
struct Bench(tempfile::TempDir);

impl Bench {
    fn new() -> Self {
        let bench = Self(tempfile::tempdir().unwrap());
        let options = PhantomOptions { fields: 5, size: (480, 360), ..PhantomOptions::new(PhantomKind::Film, 5) };
        let lot = bench.lot();
        write_phantom(&lot, &options).unwrap();
        fs::copy(lot.join("blank.tif"), lot.join("f00.tif")).unwrap();
        // A field that shows nothing but dust would be taken for the others' film.
        darken(&lot.join("f00.tif"), &[(100, 90), (120, 260), (400, 80)]);
        (0..6).for_each(|field| darken(&lot.join(format!("f0{field}.tif")), &[(300, 200)]));
        fs::copy(lot.join("f01.tif"), lot.join("f06.tif")).unwrap();
        let entry = |field: u32| {
            let microscope = if field == 4 || field == 5 { "microscope = \"40x\"\n" } else { "" };
            format!("[[picture]]\nfile = \"f0{field}.tif\"\nslide = \"A\"\n{microscope}")
        };
        let sheet = fs::read_to_string(lot.join("batch.toml")).unwrap();
        let named = "[microscopes.40x]\num_per_px = 0.2\nblank = \"blank.tif\"\n";
        fs::write(lot.join("batch.toml"), sheet + named + &(0..7).map(entry).collect::<String>()).unwrap();
        bench
    }

    fn lot(&self) -> PathBuf {
        self.0.path().join("lot")
    }

    fn out(&self) -> PathBuf {
        self.0.path().join("out")
    }

    fn batch(&self) -> Batch {
        Batch::open(&self.lot(), &Options::default()).unwrap()
    }

    fn job<T>(&self, tell: &(dyn Fn(Event<'_>) + Sync), cancel: &AtomicBool, work: impl FnOnce(&Job<'_>) -> T) -> T {
        let moment = Moment::from_epoch("1772615700").unwrap();
        work(&Job { out: &self.out(), occasion: &Occasion::at(moment.clone(), "0.0.0"), cancel, tell })
    }

    /// What was seen, how many fields were measured from their pictures, and whether chance films were laid.
    fn inspected(&self, batch: &Batch, memo: &mut Memo) -> (Inspected, usize, bool) {
        let (fields, laid) = (AtomicUsize::new(0), AtomicBool::new(false));
        let tell = |event: Event<'_>| match event {
            Event::Field { number, .. } => drop(fields.fetch_or(1 << number, Ordering::Relaxed)),
            Event::Chance { .. } => laid.store(true, Ordering::Relaxed),
            _ => {}
        };
        let seen = self.job(&tell, &AtomicBool::new(false), |job| inspect(batch, job, memo)).unwrap();
        (seen, fields.into_inner().count_ones() as usize, laid.into_inner())
    }

    /// Kinds by hand, a field rejected for a reason of the recipe's, and one for another.
    fn correct(&self) {
        let (seen, ..) = self.inspected(&self.batch(), &mut Memo::default());
        let [first, result] = [1, 2].map(|field| &seen.fields[field].result);
        let um = |px: [f64; 2]| px.map(|px| px * result.um_per_px);
        let object = um(result.objects.iter().find(|o| o.told.kind == Kind::Powder && !o.touches_frame).unwrap().centroid_px);
        let gap = um(first.gaps.iter().find(|g| !g.touches_frame).unwrap().centroid_px);
        let lines = format!(
            "f02.tif,object,{},{},kind,fibre,a hair,R4,\nf01.tif,gap,{},{},kind,streak,seen,R4,\nf03.tif,field,,,leave_out,,too pale,R4,\n\
             f05.tif,field,,,leave_out,,overlap,R4,\n",
            object[0], object[1], gap[0], gap[1]
        );
        fs::write(self.lot().join("corrections.csv"), HEAD.to_owned() + &lines).unwrap();
    }
}

/// Dark discs about some places of a picture.
fn darken(path: &Path, places: &[(usize, usize)]) {
    let mut counts = Picture::open(path, &Reading::new(None)).unwrap().counts().unwrap();
    for ((y, x), count) in counts.indexed_iter_mut() {
        if places.iter().any(|place| x.abs_diff(place.0).pow(2) + y.abs_diff(place.1).pow(2) < 15 * 15) {
            *count /= 6;
        }
    }
    write(path, &counts);
}

fn write(path: &Path, counts: &Plane<u16>) {
    let [height, width] = [counts.nrows(), counts.ncols()].map(|side| u32::try_from(side).unwrap());
    let mut file = TiffEncoder::new(File::create(path).unwrap()).unwrap();
    file.write_image::<Gray16>(width, height, counts.as_slice().unwrap()).unwrap();
}

/// Every digit of what was seen. The text of a number is another for every other bit pattern.
fn digits(seen: &Inspected) -> String {
    format!("{:?} {:?}", untimed(&seen.objectives), seen.fields)
}

fn untimed(objectives: &[ObjectiveOutcome]) -> Vec<ObjectiveOutcome> {
    objectives.iter().map(|o| ObjectiveOutcome { timing: Timing::default(), ..o.clone() }).collect()
}

#[test]
fn looking_gives_the_numbers_of_a_record_and_leaves_nothing() {
    let bench = Bench::new();
    for corrected in [false, true] {
        if corrected {
            bench.correct();
        }
        let batch = bench.batch();
        let before = tree(bench.0.path());
        let (seen, ..) = bench.inspected(&batch, &mut Memo::default());
        assert!(tree(bench.0.path()) == before && !bench.out().exists());

        bench.job(&|_| {}, &AtomicBool::new(false), |job| {
            let measured = measure(&batch, job).unwrap();
            let fields = fields_of(&batch, &measured.seen);
            assert_eq!(fields.len(), seen.fields.len());
            for (kept, seen) in fields.iter().zip(&seen.fields) {
                assert_eq!((kept.number, &kept.by_hand.rejected, kept.by_hand.stays), (seen.number, &seen.rejected, seen.stays));
                let mut result = seen.result.clone();
                result.objects.iter_mut().for_each(|object| object.necks_px = Box::default());
                assert_eq!(format!("{:?} {:?}", kept.result, kept.values), format!("{result:?} {:?}", seen.values));
            }
            let sealed = measured.seal(job).unwrap();
            assert_eq!(format!("{:?}", untimed(&sealed.objectives)), format!("{:?}", untimed(&seen.objectives)));
        });
        fs::remove_dir_all(bench.out()).unwrap();

        // The lot holds what it is meant to.
        let named = |field: usize, kind: Kind| seen.fields[field].result.objects.iter().any(|o| o.told.kind == kind);
        let flagged = |field: usize, id: &str| seen.fields[field].flags.iter().any(|flag| flag.id == id);
        assert!((0..4).all(|field| named(field, Kind::Dust)), "dust lies in all fields of the first objective");
        assert!(flagged(0, "mostly_bare") && flagged(6, "overlap") && !seen.fields[6].stays);
        assert_eq!(seen.fields.iter().map(|field| field.objective).collect::<Vec<_>>(), [0, 0, 0, 0, 1, 1, 0]);
        assert_eq!([&seen.fields[2].corrected_objects, &seen.fields[1].corrected_gaps].map(BTreeSet::len), [usize::from(corrected); 2]);
        assert_eq!([seen.fields[3].rejected.as_str(), &seen.fields[5].rejected], if corrected { ["too pale", "overlap"] } else { [""; 2] });
        assert_eq!([seen.fields[3].stays, seen.fields[5].stays], [true, !corrected]);
    }
}

#[test]
fn only_objects_of_several_constituents_have_lines_between_them() {
    let bench = Bench::new();
    let (seen, ..) = bench.inspected(&bench.batch(), &mut Memo::default());
    let objects = || seen.fields.iter().flat_map(|field| &field.result.objects);
    assert!(objects().any(|object| object.constituents() > 1));
    for object in objects() {
        assert_eq!(object.constituents() > 1, !object.necks_px.is_empty());
        // Half a pixel of a sharpened outline may lie beyond the object's own pixels.
        let at = object.at.grown(3, Rect::new(0, 0, 480, 360));
        let [left, top, right, bottom] = [at.x, at.y, at.right(), at.bottom()].map(|side| side as f32);
        assert!(object.necks_px.iter().all(|[x, y]| *x > left && *x < right && *y > top && *y < bottom));
    }
}

/// What a change of choices asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Asks {
    /// Nothing that was not measured before.
    Nothing,
    /// Other chance films.
    Chance,
    /// So many pictures.
    Pictures(usize),
}

type Change = fn(&mut Recipe);

#[test]
fn a_memo_changes_no_number() {
    let bench = Bench::new();
    let mut recipe = Recipe::default();
    recipe.chance.placements = 6;
    let mut memo = Memo::default();
    // What a memo gives is held against `known`, or against a measurement that remembers nothing.
    let mut look = |recipe: &Recipe, asks: Asks, known: Option<&str>, what: &str| {
        let mut batch = bench.batch();
        for objective in &mut batch.objectives {
            objective.recipe = Recipe { light: objective.recipe.light, ..recipe.clone() };
        }
        let (seen, pictures, laid) = bench.inspected(&batch, &mut memo);
        let digits_anew = || {
            let (anew, all, _) = bench.inspected(&batch, &mut Memo::default());
            assert_eq!(all, 7);
            digits(&anew)
        };
        let digits = digits(&seen);
        assert!(digits == known.map_or_else(digits_anew, str::to_owned), "{what}");
        let asked = match (pictures, laid) {
            (0, false) => Asks::Nothing,
            (0, true) => Asks::Chance,
            (pictures, _) => Asks::Pictures(pictures),
        };
        assert_eq!(asked, asks, "{what}");
        digits
    };
    let first = look(&recipe, Asks::Pictures(7), None, "first");
    look(&recipe, Asks::Nothing, Some(&first), "again");
    let cheap: [(&str, Asks, Change); 9] = [
        ("name", Asks::Nothing, |r| (r.name, r.version, r.locked) = ("other".into(), "2".into(), true)),
        ("reject", Asks::Chance, |r| r.fields.reject.clear()),
        ("concern", Asks::Nothing, |r| (r.concern.gap_um, r.concern.agglomerate_um) = (5.0, 6.0)),
        ("model_u_pct", Asks::Nothing, |r| r.objects.model_u_pct = 2.0),
        ("agglomerates", Asks::Chance, |r| r.agglomerates.min_diameter_um = 3.5),
        ("leave_out", Asks::Chance, |r| r.leave_out = vec![Kind::Powder]),
        ("seed", Asks::Chance, |r| r.chance.seed = 9),
        ("smallest object", Asks::Chance, |r| (r.particles.min_diameter_um, r.leave_out) = (Some(3.0), vec![])),
        ("smallest gap", Asks::Chance, |r| r.gaps.min_diameter_um = 6.0),
    ];
    for (what, asks, change) in cheap {
        change(&mut recipe);
        look(&recipe, asks, None, what);
    }
    recipe = Recipe { chance: recipe.chance, ..Recipe::default() };
    let mut before = look(&recipe, Asks::Chance, None, "as at first, but for the seed");
    let read: [(&str, Change); 6] = [
        ("noise_factor", |r| r.particles.noise_factor = 9.0),
        ("particle edge", |r| r.particles.edge = 0.45),
        ("gap edge", |r| r.gaps.edge = 0.6),
        ("split depth", |r| r.objects.split_depth_um = 0.4),
        ("split", |r| r.objects.split = false),
        ("frame", |r| r.objects.frame = FrameRule::All),
    ];
    for (what, change) in read {
        let old = recipe.clone();
        change(&mut recipe);
        let now = look(&recipe, Asks::Pictures(7), None, what);
        look(&old, Asks::Nothing, Some(&before), "and back");
        before = now;
    }
    look(&recipe, Asks::Nothing, Some(&before), "all of them");
    recipe = Recipe { chance: recipe.chance, ..Recipe::default() };
    bench.correct();
    look(&recipe, Asks::Chance, None, "corrections");

    // Of the lot's files one changes: it alone is read, and the field that waits for its film; with the blank, all are.
    let mut counts = Picture::open(&bench.lot().join("f01.tif"), &Reading::new(None)).unwrap().counts().unwrap();
    counts.mapv_inplace(|count| count - count / 20);
    fs::remove_file(bench.lot().join("corrections.csv")).unwrap();
    write(&bench.lot().join("f01.tif"), &counts);
    look(&recipe, Asks::Pictures(2), None, "one picture");
    let blank = fs::read(bench.lot().join("blank.tif")).unwrap();
    fs::write(bench.lot().join("blank.tif"), [blank, vec![0]].concat()).unwrap();
    look(&recipe, Asks::Pictures(7), None, "the blank");
}

#[test]
fn a_stop_at_any_event_leaves_nothing_and_a_memo_that_can_be_used() {
    let bench = Bench::new();
    let batch = bench.batch();
    let count = AtomicUsize::new(0);
    let counted = |_: Event<'_>| {
        count.fetch_add(1, Ordering::Relaxed);
    };
    let whole = bench.job(&counted, &AtomicBool::new(false), |job| inspect(&batch, job, &mut Memo::default())).unwrap();
    let events = count.into_inner();
    for stop_at in [1, 2, events / 3, events / 2] {
        let (seen, cancel, mut memo) = (AtomicUsize::new(0), AtomicBool::new(false), Memo::default());
        let tell = |_: Event<'_>| {
            if seen.fetch_add(1, Ordering::Relaxed) + 1 >= stop_at {
                cancel.store(true, Ordering::Relaxed);
            }
        };
        let stopped = bench.job(&tell, &cancel, |job| inspect(&batch, job, &mut memo)).unwrap_err();
        assert_eq!(stopped.kind, FaultKind::Interrupted, "at event {stop_at} of {events}");
        assert!(!bench.out().exists());
        let known = memo.known();
        let (after, pictures, _) = bench.inspected(&batch, &mut memo);
        assert!(digits(&after) == digits(&whole));
        assert_eq!(pictures + known, 7, "at event {stop_at} of {events}");
    }
}

#[test]
fn what_does_not_fit_into_memory_needs_no_folder_for_records() {
    let folder = tempfile::tempdir().unwrap();
    let bench = Bench(folder);
    let options = PhantomOptions { fields: 2, size: (300, 200), file: PictureFile::Png, ..PhantomOptions::new(PhantomKind::Film, 5) };
    write_phantom(&bench.lot(), &options).unwrap();
    let (held, ..) = bench.inspected(&bench.batch(), &mut Memo::default());
    let budget = Budget { held: 0, cache: 0 };
    let spooled = Batch::open(&bench.lot(), &Options { budget, ..Options::default() }).unwrap();
    let (seen, ..) = bench.inspected(&spooled, &mut Memo::default());
    assert!(digits(&held) == digits(&seen) && !bench.out().exists());
    view(&spooled, 0, &AtomicBool::new(false), &mut |view| assert!(view.is_by_rectangle())).unwrap();
}

#[test]
fn a_view_shows_what_a_measurement_sees() {
    let bench = Bench::new();
    let batch = bench.batch();
    let go = AtomicBool::new(false);
    let mut calls = 0;
    view(&batch, 1, &go, &mut |view| {
        calls += 1;
        assert_eq!((view.size(), view.um_per_px(), view.is_by_rectangle(), view.bare_known()), ((480, 360), 0.25, false, true));
        let (whole, part) = (Rect::new(0, 0, 480, 360), Rect::new(291, 190, 20, 20));
        let photographed = Picture::open(&bench.lot().join("f01.tif"), &Reading::new(None)).unwrap().counts().unwrap();
        let (mut all, mut some) = (Vec::new(), vec![7; 3]);
        view.counts(whole, &mut all).unwrap();
        assert!(all == photographed.as_slice().unwrap());
        view.levels(whole, &mut all).unwrap();
        view.levels(part, &mut some).unwrap();
        let rows = all.chunks(480).skip(190).take(20);
        assert!(some == rows.flat_map(|row| &row[291..311]).copied().collect::<Vec<_>>());

        let mut naive = vec![0; 512];
        for &level in &all {
            naive[usize::from(level) * 512 / (2 * usize::from(ONE))] += 1;
        }
        assert!(view.levels_seen() == naive);

        // What the middle of the dust cuts to is a particle, by this recipe and not by one that asks for more.
        let film = view.film().unwrap();
        let cuts = view.cuts(&Recipe::default(), None);
        assert_eq!(cuts.gap, Some(0.5));
        assert!((cuts.film.at(240.0, 180.0) / f64::from(film.level) - 1.0).abs() < 0.1 && film.share > 0.5);
        assert!((0.6..=0.94).contains(&cuts.particle) && f64::from(some[10 * 20 + 10]) < cuts.particle * cuts.film.at(300.0, 200.0));
        let mut recipe = Recipe::default();
        (recipe.particles.detect, recipe.particles.fixed_level) = (evenfilm_core::recipe::Detect::Fixed, 0.125);
        assert_eq!(view.cuts(&recipe, None).particle.to_bits(), 0.125f64.to_bits());

        for beyond in [Rect::new(0, 0, 481, 1), Rect::new(1, 359, 1, 2), Rect::new(u32::MAX, 0, 2, 1)] {
            assert!(matches!(view.levels(beyond, &mut some), Err(Stop::Unreadable(_))) && view.counts(beyond, &mut some).is_err());
        }
    })
    .unwrap();
    // A field that shows no film takes its level from the others.
    view(&batch, 0, &go, &mut |view| {
        calls += 1;
        assert!(view.film().is_none());
        let cuts = [None, Some(20_000)].map(|film| view.cuts(&Recipe::default(), film));
        assert_eq!(cuts.map(|cuts| (cuts.gap, cuts.film.at(9.0, 9.0))), [(None, f64::from(ONE)), (Some(0.5), 20_000.0)]);
    })
    .unwrap();
    assert_eq!(calls, 2);
    let fault = view(&batch, 7, &go, &mut |_| panic!("there is no such field")).unwrap_err();
    assert!(fault.message.contains("7 fields, and no field 8"), "{fault}");
    let stopped = view(&batch, 1, &AtomicBool::new(true), &mut |_| panic!("stopped before")).unwrap_err();
    assert_eq!(stopped.kind, FaultKind::Interrupted);
}
