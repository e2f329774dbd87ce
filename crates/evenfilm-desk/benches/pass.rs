//! A pass of the window with a picture of many outlines, without a screen: `cargo bench -p evenfilm-desk`.
//!
//! `unchanged` paints what is there; `moved` composes anew because the eye moved; `dragged` because a mark of the histogram moved, so that
//! phases are told from the pixels. The window is as large as its picture needs for 1600 × 1000 pixels, and at the last for 4K.

use divan::Bencher;
use egui::Context;
use evenfilm_desk::{Desk, synthetic};

fn main() {
    divan::main();
}

const FIELD: (u32, u32) = (4000, 3000);
/// Leaves 1600 × 1000 to the picture.
const WINDOW: [f32; 2] = [1620.0, 1150.0];
const WINDOW_4K: [f32; 2] = [3840.0, 2160.0];

fn with_desk(bencher: Bencher<'_, '_>, objects: u32, window: [f32; 2], mut change: impl FnMut(&mut Desk, usize)) {
    let folder = tempfile::tempdir().expect("a folder for settings");
    let mut desk = synthetic::desk(folder.path(), synthetic::crowded(FIELD, objects));
    let ctx = Context::default();
    let mut pass = 0;
    for _ in 0..3 {
        desk.show_picture(&ctx, window);
    }
    desk.hold(&ctx, window);
    bencher.bench_local(|| {
        pass += 1;
        change(&mut desk, pass);
        let output = desk.show_picture(&ctx, window);
        ctx.tessellate(output.shapes, output.pixels_per_point)
    });
}

#[divan::bench(args = [0, 20_000])]
fn unchanged(bencher: Bencher<'_, '_>, objects: u32) {
    with_desk(bencher, objects, WINDOW, |_, _| ());
}

#[divan::bench(args = [0, 20_000])]
fn moved_whole(bencher: Bencher<'_, '_>, objects: u32) {
    with_desk(bencher, objects, WINDOW, |desk, pass| desk.look(Some(0.335 + (pass % 5) as f64 * 0.001), None));
}

#[divan::bench(args = [20_000])]
fn moved_near(bencher: Bencher<'_, '_>, objects: u32) {
    with_desk(bencher, objects, WINDOW, |desk, pass| desk.look(Some(1.0), Some([1800.0 + (pass % 50) as f64, 1500.0])));
}

#[divan::bench(args = [20_000])]
fn dragged(bencher: Bencher<'_, '_>, objects: u32) {
    with_desk(bencher, objects, WINDOW, |desk, pass| desk.drag_mark(6.0 + (pass % 50) as f64 * 0.1));
}

#[divan::bench(args = [20_000])]
fn dragged_4k(bencher: Bencher<'_, '_>, objects: u32) {
    with_desk(bencher, objects, WINDOW_4K, |desk, pass| desk.drag_mark(6.0 + (pass % 50) as f64 * 0.1));
}
