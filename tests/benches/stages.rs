//! Time of each stage on a hazy 12-megapixel, 16-bit film, with a general-purpose library beside it in the same run.
//!
//! `cargo bench -p evenfilm-tests`. At the end stands a table of stages in ns per pixel and µs per object, for a sparse and a dense film, held
//! in memory and read by pieces. divan's counters are pixels for survey, cut and the whole, and objects for refine: the rate printed beside
//! a time is per second, so ns per pixel is 1000 ÷ Mitem/s and µs per object is 1000 ÷ Kitem/s.

mod table;

use std::sync::LazyLock;
use std::sync::atomic::AtomicBool;

use divan::Bencher;
use divan::counter::ItemsCount;
use evenfilm_core::field::{Joined, Setting, Surveyed, join_field, measure, refine_field, survey};
use evenfilm_core::light::{Correction, Lamp, Optics};
use evenfilm_core::phantom::{Blank, Blur, Camera, Film, FilmSpec, Lamp as Light, Mode, PhantomSpec};
use evenfilm_core::phases::{RunMap, join};
use evenfilm_core::plane::{Plane, Rect, Samples, Watch};
use evenfilm_core::pyramid::{MOST_HELD_PX, Pyramid};
use evenfilm_core::recipe::Recipe;

#[expect(clippy::print_stdout, reason = "a benchmark reports to its reader")]
fn main() {
    let scene = &*SCENE;
    println!("{} × {} pixels, {} objects", SIZE.0, SIZE.1, scene.objects);
    divan::main();
    // A filter or a list of names is for divan alone.
    if std::env::args().skip(1).all(|argument| argument == "--bench") {
        table::print();
    }
}

const SIZE: (u32, u32) = (4000, 3000);
const OPTICS: Optics = Optics { um_per_px: 0.25, numerical_aperture: Some(0.65), wavelength_nm: Some(550.0), full_scale: u16::MAX };
const CAMERA: Camera =
    Camera { full_scale: u16::MAX, exposure: 0.7, full_well_e: 20_000.0, read_noise_e: 5.0, black_pct: 0.0, blank_frames: 1 };
static GO: AtomicBool = AtomicBool::new(false);
static RECIPE: LazyLock<Recipe> = LazyLock::new(Recipe::default);

fn setting() -> Setting<'static> {
    Setting { optics: &OPTICS, recipe: &RECIPE, necks: false, watch: Watch { cancel: &GO, tell: &|_, _| () } }
}

struct Scene {
    field: Plane<u16>,
    lamp: Lamp<'static>,
    surveyed: Surveyed,
    correction: Correction<'static>,
    joined: Joined,
    objects: usize,
    particle: RunMap,
    mask: image::GrayImage,
}

static BLANK: LazyLock<Plane<u16>> = LazyLock::new(|| held(&Blank(spec())));

static SCENE: LazyLock<Scene> = LazyLock::new(|| {
    let field = held(&Film::lay(&spec(), 0, 0));
    let lamp = Lamp::new(Some(&*BLANK), None, setting().watch).expect("the blank is held");
    let (surveyed, correction) = survey(&field, &lamp, &setting()).expect("the field is held");
    let joined = join_field(&field, (&surveyed, &correction), None, &setting()).expect("the field is held");
    let refined = refine_field(&field, &correction, &joined, &setting()).expect("the field is held");
    let mut mask = image::GrayImage::new(SIZE.0, SIZE.1);
    for y in 0..SIZE.1 {
        for i in refined.map.row(y) {
            (refined.map.runs[i].x0..refined.map.runs[i].x1).for_each(|x| mask.put_pixel(x, y, image::Luma([255])));
        }
    }
    Scene { objects: refined.objects.len(), particle: refined.map, field, lamp, surveyed, correction, joined, mask }
});

fn spec() -> PhantomSpec {
    let blur = Blur::Airy { numerical_aperture: 0.65, wavelength_nm: 550.0 };
    PhantomSpec {
        seed: 12,
        size: SIZE,
        um_per_px: 0.25,
        blur,
        film: FilmSpec::film(),
        lamp: Light { tilt_pct: 20.0, tilt_deg: 30.0, vignette_pct: 30.0 },
        mode: Mode::Transmitted,
        camera: CAMERA,
    }
}

fn held(source: &dyn Samples) -> Plane<u16> {
    let mut plane = Plane::zeros((SIZE.1 as usize, SIZE.0 as usize));
    source.read(Rect::whole(SIZE), plane.as_slice_mut().expect("new planes are contiguous")).expect("phantoms can be read");
    plane
}

fn pixels() -> ItemsCount {
    ItemsCount::new(u64::from(SIZE.0) * u64::from(SIZE.1))
}

#[divan::bench]
fn a_blank(bencher: Bencher) {
    bencher.counter(pixels()).bench(|| Lamp::new(Some(&*BLANK), None, setting().watch).map(|_| ()));
}

#[divan::bench]
fn b_survey(bencher: Bencher) {
    bencher.counter(pixels()).bench(|| survey(&SCENE.field, &SCENE.lamp, &setting()).map(|_| ()));
}

#[divan::bench]
fn c_cut_join_calibrate(bencher: Bencher) {
    bencher.counter(pixels()).bench(|| join_field(&SCENE.field, (&SCENE.surveyed, &SCENE.correction), None, &setting()).map(|_| ()));
}

#[divan::bench]
fn d_join_alone(bencher: Bencher) {
    let levels = vec![0; SCENE.particle.runs.len()];
    bencher.counter(pixels()).with_inputs(|| SCENE.particle.clone()).bench_values(|mut map| join(&mut map, &levels, true, |_| true).len());
}

#[divan::bench]
fn d_join_by_imageproc(bencher: Bencher) {
    use imageproc::region_labelling::{Connectivity, connected_components};
    bencher.counter(pixels()).bench(|| connected_components(&SCENE.mask, Connectivity::Eight, image::Luma([0u8])));
}

#[divan::bench]
fn e_refine(bencher: Bencher) {
    let work = || refine_field(&SCENE.field, &SCENE.correction, &SCENE.joined, &setting()).map(|r| r.objects.len());
    bencher.counter(ItemsCount::new(SCENE.objects)).bench(work);
}

#[divan::bench]
fn f_whole(bencher: Bencher) {
    bencher.counter(pixels()).bench(|| {
        let (surveyed, correction) = survey(&SCENE.field, &SCENE.lamp, &setting())?;
        measure(&SCENE.field, (&surveyed, &correction), None, &setting()).map(|r| r.objects.len())
    });
}

#[divan::bench]
fn g_pyramid(bencher: Bencher) {
    let read = |at: Rect, out: &mut Vec<u16>| {
        out.resize(at.width as usize * at.height as usize, 0);
        SCENE.field.read(at, out)
    };
    bencher.counter(pixels()).bench(|| Pyramid::build(SIZE, MOST_HELD_PX, &read, setting().watch));
}
