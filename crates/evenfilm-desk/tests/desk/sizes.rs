//! Sizes of the window and of everything in it: what can be pressed can be reached, and nothing lies over another thing.

use egui_kittest::kittest::{NodeT, Queryable};

use crate::bench::Bench;

#[test]
fn dump() {
    let mut bench = Bench::with("TS-0402");
    bench.scale(200);
    println!("{:?}", bench.window.ctx.content_rect());
    for node in bench.window.query_all_by(|_| true) {
        let a = node.accesskit_node();
        println!("{:?} {:?} {:?} {:?} clips {}", a.role(), a.label(), node.rect(), a.value(), a.data().clips_children());
    }
}
