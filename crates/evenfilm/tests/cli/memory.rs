//! What measuring a large picture takes of memory.

use super::{Bench, json, text};
use std::fs;
use std::process::Stdio;
use std::time::Duration;

/// The most that a process has had in memory so far, MB: VmHWM of Linux.
fn peak_mb(process: u32) -> Option<u64> {
    let status = fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    line.trim().strip_suffix("kB")?.trim().parse::<u64>().ok().map(|kb| kb / 1000)
}

/// 67.6 megapixels are just above what is held: field and blank alone would be 270 MB of counts, and held as levels as well 400 MB. Read by
/// tiles they take 2 × 32 MiB, and the rest of the work about 60 MB.
#[test]
fn a_large_picture_is_never_held_whole() {
    const MOST_MB: u64 = 200;
    let bench = Bench::new();
    let done = bench.run(&["phantom", "large", "--kind", "discs", "--bits", "8", "--size", "8192x8256", "--fields", "1"]);
    assert!(done.status.success(), "{}", text(&done.stderr));
    // Tiles, plain: the file is a little longer than its pixels.
    assert!((67_633_152..67_800_000 + 8192 * 512).contains(&fs::metadata(bench.path("large/f01.tif")).unwrap().len()));
    let mut child =
        bench.command(&["measure", "large", "--out", "records", "--json"]).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
    let mut peak = 0;
    while child.try_wait().unwrap().is_none() {
        peak = peak_mb(child.id()).unwrap_or(0).max(peak);
        std::thread::sleep(Duration::from_millis(2));
    }
    let output = child.wait_with_output().unwrap();
    let lot = &json(&output)["lots"][0];
    let truth: serde_json::Value = serde_json::from_slice(&fs::read(bench.path("large/truth.json")).unwrap()).unwrap();
    let [found, laid] = [&lot["x50_0_um"], &truth["pooled"]["sizes_as_counted"]["x50_0_um"]].map(|v| v.as_f64().unwrap());
    assert!((found / laid - 1.0).abs() < 0.01, "{found} {laid}");
    // Tiles are read while the work goes on, and that time is told.
    assert!(lot["timing"]["read_s"].as_f64().unwrap() > 0.0);
    assert!((20..MOST_MB).contains(&peak), "{peak} MB");
}
