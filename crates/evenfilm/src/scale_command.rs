//! `evenfilm scale`: micrometres per pixel from a picture of a ruling.

use std::io::{self, Write};
use std::path::PathBuf;

use clap::Args;
use evenfilm_record::fault::Fault;
use evenfilm_record::names::printable;
use evenfilm_record::round::{three_digits, with_half_width};
use evenfilm_record::ruling::{Pitch, Ruled, Written, measure_ruling};
use evenfilm_record::summary::push;
use evenfilm_record::time::Moment;
use serde_json::{Value, json};

use crate::exit::Exit;
use crate::{complain, json};

/// Measure micrometres per pixel from a picture of a ruling (stage micrometer)
#[derive(Debug, Args)]
pub(crate) struct ScaleArgs {
    /// The ruling, its lines along a side of the picture to within 15°, taken with the objective and camera whose scale is wanted
    #[arg(value_name = "PICTURE")]
    ruling: PathBuf,
    /// Distance from each line to the next, µm, as its certificate says
    #[arg(long, value_name = "UM")]
    pitch_um: f64,
    /// Standard uncertainty of that distance, µm: half of an expanded one with k = 2
    #[arg(long, value_name = "UM", default_value_t = 0.0)]
    pitch_u_um: f64,
    /// Put the scale into [microscope] of the sheet in this folder
    #[arg(long, value_name = "FOLDER")]
    write: Option<PathBuf>,
    /// Write a PNG that shows the lines found and which were used
    #[arg(long = "picture", value_name = "FILE")]
    drawing: Option<PathBuf>,
    /// Print one JSON document on standard output and nothing else there
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(args: &ScaleArgs) -> Exit {
    let done = scale(args);
    let mut out = io::stdout().lock();
    // Nobody reads a closed pipe.
    let _ = match (&done, args.json) {
        (Ok((ruled, written)), true) => print(&mut out, &document(ruled, written.as_ref())),
        (Err(fault), true) => print(&mut out, &json!({ "error": json::error(fault) })),
        (Ok((ruled, written)), false) => write!(out, "{}", words(ruled, written.as_ref())),
        (Err(_), false) => Ok(()),
    };
    match done {
        Ok(_) => Exit::Done,
        Err(fault) => {
            complain("", &fault);
            Exit::of(fault.kind)
        }
    }
}

/// Measures, draws, then writes: a sheet is changed last, when all else is done.
fn scale(args: &ScaleArgs) -> Result<(Ruled, Option<Written>), Fault> {
    let moment = Moment::now()?;
    let ruled = measure_ruling(&args.ruling, Pitch { um: args.pitch_um, u_um: args.pitch_u_um })?;
    if let Some(to) = &args.drawing {
        ruled.draw(to)?;
    }
    let written = args.write.as_ref().map(|folder| ruled.write_into(folder, &moment)).transpose()?;
    Ok((ruled, written))
}

fn print(out: &mut impl Write, document: &Value) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut *out, document)?;
    writeln!(out)
}

fn document(ruled: &Ruled, written: Option<&Written>) -> Value {
    let scale = &ruled.scale;
    json!({
        "picture": ruled.path.display().to_string(),
        "pitch_um": json::number(Some(ruled.pitch.um)),
        "pitch_u_um": json::number(Some(ruled.pitch.u_um)),
        "um_per_px": json::number(Some(scale.um_per_px)),
        "um_per_px_u": json::number(Some(scale.um_per_px_u)),
        "um_per_px_x": json::number(scale.um_per_px_x),
        "um_per_px_y": json::number(scale.um_per_px_y),
        "angle_deg": json::number(Some(scale.angle_deg)),
        "lines": scale.lines(),
        "lines_left_out": ruled.left_out(),
        "residual_um": json::number(Some(ruled.residual_um())),
        "notes": ruled.notes(),
        "written": written.map(|written| written.sheet.display().to_string()),
    })
}

fn words(ruled: &Ruled, written: Option<&Written>) -> String {
    let scale = &ruled.scale;
    let mut text = format!("{}\n", printable(&ruled.path.display().to_string()));
    push(&mut text, "scale", &format!("{} µm per pixel", with_half_width(scale.um_per_px, 2.0 * scale.um_per_px_u)));
    for (axis, um) in [("x", scale.um_per_px_x), ("y", scale.um_per_px_y)] {
        if let (Some(um), 2) = (um, scale.sets.len()) {
            push(&mut text, &format!("along {axis}"), &format!("{um:.6} µm per pixel"));
        }
    }
    let left_out = match ruled.left_out() {
        0 => String::new(),
        n => format!(", {n} left out"),
    };
    push(&mut text, "lines", &format!("{} used{left_out}", scale.lines()));
    push(&mut text, "lines lie off an even ruling by", &format!("{} µm (standard deviation)", three_digits(ruled.residual_um())));
    push(&mut text, "turned from the picture's sides by", &format!("{:.2}°", scale.angle_deg));
    push(&mut text, "±", "twice the standard uncertainty of lines, turn and certificate; it covers the scale in about 95 of 100 pictures");
    ruled.notes().iter().for_each(|note| push(&mut text, "note", note));
    if let Some(written) = written {
        let before = written.before.map_or_else(String::new, |um| format!("; um_per_px was {um}"));
        push(&mut text, "written to", &format!("{}{before}", printable(&written.sheet.display().to_string())));
        for name in &written.kept {
            push(&mut text, "note", &format!("[microscopes.{}] keeps the scale that it states itself", printable(name)));
        }
    }
    text
}
