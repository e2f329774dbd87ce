//! How often the intervals hold the truth: `cargo bench -p evenfilm-tests --bench coverage`, some minutes. Its tables stand in
//! `reference/coverage.md`; an argument after `--` is the number of lots, 2000 without.

use std::time::Instant;

use evenfilm_core::interval::tails;
use evenfilm_core::random::{Draws, Source};
use evenfilm_core::sizes::Sized;
use evenfilm_tests::simulate::{Gaps, Layout, Powder, coverage_of_gaps, coverage_of_tails};

const SEED: u64 = 7;

#[expect(clippy::print_stdout, reason = "a benchmark reports to its reader")]
fn main() {
    let lots = std::env::args().skip(1).find_map(|a| a.parse().ok()).unwrap_or(2000);
    println!(
        "Lots with the truth in their 95 % interval, % (median width over truth); * outside 93 to 99.7\n\n{lots} lots each:\n\n{}",
        gaps(lots)
    );
    println!("\n{} lots each:\n\n{}\n\n30 000 objects in 12 fields: {:.1} ms", lots / 10, sizes(lots), time_of_tails());
}

fn layouts(of: &[(usize, usize)]) -> Vec<Layout> {
    of.iter().map(|&(slides, fields)| Layout { slides, fields }).collect()
}

/// A table of bare shares by layout, each cell for one pair of spreads.
fn gaps(lots: u64) -> String {
    let mut lines = vec![
        "| bare | slides × fields | events | spread of ln area 1: CV 0 | 0.3 | 0.6 | 1.5: CV 0 | 0.3 | 0.6 |".to_owned(),
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- |".to_owned(),
    ];
    for bare in [0.0002, 0.0005, 0.002, 0.02] {
        for layout in layouts(&[(1, 4), (1, 8), (2, 2), (2, 4), (4, 2), (4, 4)]) {
            let mut cells = Vec::new();
            let mut seen = 0.0;
            for spread in [1.0, 1.5] {
                for cv in [0.0, 0.3, 0.6] {
                    let film = Gaps { bare, mean_um2: 150.0, spread, slide_cv: cv, field_cv: cv };
                    let found = coverage_of_gaps(&film, layout, lots, SEED);
                    seen = found.seen;
                    cells.push(format!("{} ({:.1})", marked(found.inside_pct), found.width));
                }
            }
            lines.push(format!("| {} % | {} × {} | {seen} | {} |", 100.0 * bare, layout.slides, layout.fields, cells.join(" | ")));
        }
    }
    lines.join("\n")
}

fn sizes(lots: u64) -> String {
    let mut lines = vec![
        "| GSD | slides × fields | objects a field | effective | decided, % | x90,3 | span,3 | decided, % | D[4,3] |".to_owned(),
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- |".to_owned(),
    ];
    for gsd in [1.4, 1.6, 1.8, 2.0] {
        for layout in layouts(&[(1, 4), (1, 8), (2, 4), (3, 4)]) {
            for objects in [100.0, 400.0, 1500.0] {
                let powder = Powder { gsd, objects, slide_spread: 0.05, field_spread: 0.05 };
                let [(x90, decided), (span, _), (d43, d43_decided)] = coverage_of_tails(&powder, layout, lots / 10, SEED);
                let cell = |c: evenfilm_tests::simulate::Coverage| {
                    if c.inside_pct > 0.0 { format!("{} ({:.2})", marked(c.inside_pct), c.width) } else { "–".to_owned() }
                };
                lines.push(format!(
                    "| {gsd} | {} × {} | {objects} | {:.0} | {decided:.0} | {} | {} | {d43_decided:.0} | {} |",
                    layout.slides,
                    layout.fields,
                    x90.seen,
                    cell(x90),
                    cell(span),
                    cell(d43)
                ));
            }
        }
    }
    lines.join("\n")
}

fn marked(inside_pct: f64) -> String {
    let mark = if (93.0..=99.7).contains(&inside_pct) { "" } else { " *" };
    format!("{inside_pct:.1}{mark}")
}

/// Median time of ten, ms.
fn time_of_tails() -> f64 {
    let mut draws = Draws::new(Source::new(SEED, 0));
    let fields: Vec<Vec<Sized>> = (0..12)
        .map(|_| (0..2500).map(|_| Sized { diameter: draws.log_normal(2.0, 1.8), weight: 1.0 + 0.1 * draws.uniform() }).collect())
        .collect();
    let fields: Vec<&[Sized]> = fields.iter().map(Vec::as_slice).collect();
    let mut times: Vec<f64> = (0..10)
        .map(|_| {
            let start = Instant::now();
            std::hint::black_box(tails(&fields, &[0; 12], 0.95));
            start.elapsed().as_secs_f64() * 1e3
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[5]
}
