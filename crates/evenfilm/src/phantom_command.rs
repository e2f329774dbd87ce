//! `evenfilm phantom`: films with known truth, as a folder that can be measured; and rulings.

use clap::{Args, ValueEnum};
use evenfilm_record::fault::Fault;
use evenfilm_record::phantom_files::{Bits, Mode, ORIGIN, PhantomKind, PhantomOptions, RulingOptions, write_phantom, write_ruling};
use std::path::PathBuf;

/// Write a film with known truth: rendered pictures, a sheet and truth.json
#[derive(Clone, Debug, Args)]
pub(crate) struct PhantomArgs {
    /// Folder to write: new, empty, or an earlier phantom
    pub(crate) folder: PathBuf,
    /// What lies on the slide
    #[arg(long, value_enum, default_value = "film")]
    pub(crate) kind: KindArg,
    /// Another seed gives another film
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(crate) seed: u64,
    /// Number of fields
    #[arg(long, value_name = "N", default_value_t = 4, value_parser = clap::value_parser!(u32).range(1..))]
    pub(crate) fields: u32,
    /// Columns and rows of a field
    #[arg(long, value_name = "WxH", default_value = "1600x1200", value_parser = size)]
    pub(crate) size: (u32, u32),
    /// Bits of a sample
    #[arg(long, value_enum, default_value = "16")]
    pub(crate) bits: BitsArg,
    /// How the slide is lit
    #[arg(long, value_enum, default_value = "transmitted")]
    pub(crate) mode: ModeArg,
}

/// `--mode`
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum ModeArg {
    /// Light through the film, with a blank
    Transmitted,
    /// Scattered light on a dark ground, with pictures of an even scatterer and of the empty slide
    Darkfield,
}

/// `--kind`
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum KindArg {
    /// A hazy film with single particles, clumps and gaps
    Film,
    /// Separate flat discs on an even haze
    Discs,
    /// A film with bubbles, droplets, fibres, crystals, dust, cracks, dewetting and a margin as well
    Kinds,
    /// Separate absorbing spheres
    Spheres,
    /// Separate clear spheres that refract
    Refracting,
    /// Separate discs within 3 µm of the plane of focus
    Depth,
    /// No film: rulings of 10 µm at some turn, for the scale
    Ruling,
}

/// `--bits`
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum BitsArg {
    /// 8 bit, linear
    #[value(name = "8")]
    Eight,
    /// 16 bit, linear
    #[value(name = "16")]
    Sixteen,
}

/// Columns and rows out of `WxH`.
fn size(text: &str) -> Result<(u32, u32), String> {
    let parse = |side: &str| side.trim().parse::<u32>().ok().filter(|&n| n > 0);
    let sides = text.split_once(['x', 'X', '×']).and_then(|(w, h)| Some((parse(w)?, parse(h)?)));
    sides.ok_or_else(|| "give columns and rows above 0, as in 1600x1200".to_owned())
}

/// Writes the phantom and says on standard error what it holds.
///
/// # Errors
/// Those of [`write_phantom`].
pub(crate) fn run(args: &PhantomArgs) -> Result<(), Fault> {
    let Some(kind) = film_kind(args.kind) else { return rulings(args) };
    let options = options(args, PhantomOptions::new(kind, args.seed));
    let summary = write_phantom(&args.folder, &options)?;
    eprintln!(
        "{}: {} fields of {} × {} pixels ({ORIGIN})\n  {} objects of powder, {:.3} % of the area, and {} others; {} gaps, {:.3} % bare; truth.json holds the rest",
        args.folder.display(),
        summary.fields,
        args.size.0,
        args.size.1,
        summary.objects,
        summary.particle_area_pct,
        summary.left_out_objects,
        summary.gaps,
        summary.uncovered_area_pct,
    );
    Ok(())
}

/// Writes rulings and says on standard error what they are.
fn rulings(args: &PhantomArgs) -> Result<(), Fault> {
    let base = RulingOptions::new(args.seed);
    let rulings = RulingOptions { picture: options(args, base.picture), ..base };
    let count = write_ruling(&args.folder, &rulings)?;
    eprintln!(
        "{}: {count} pictures of a ruling of {} µm, {} × {} pixels ({ORIGIN}); truth.json holds the true scale, turns and places of lines",
        args.folder.display(),
        rulings.ruling.pitch_um,
        args.size.0,
        args.size.1,
    );
    Ok(())
}

/// The kind of film; `None` of a ruling.
const fn film_kind(kind: KindArg) -> Option<PhantomKind> {
    Some(match kind {
        KindArg::Film => PhantomKind::Film,
        KindArg::Discs => PhantomKind::Discs,
        KindArg::Kinds => PhantomKind::Kinds,
        KindArg::Spheres => PhantomKind::Spheres,
        KindArg::Refracting => PhantomKind::Refracting,
        KindArg::Depth => PhantomKind::Depth,
        KindArg::Ruling => return None,
    })
}

/// What the command line says of the pictures.
fn options(args: &PhantomArgs, base: PhantomOptions) -> PhantomOptions {
    let bits = match args.bits {
        BitsArg::Eight => Bits::Eight,
        BitsArg::Sixteen => Bits::Sixteen,
    };
    let mode = match args.mode {
        ModeArg::Transmitted => Mode::Transmitted,
        ModeArg::Darkfield => Mode::Darkfield,
    };
    PhantomOptions { fields: args.fields, size: args.size, bits, mode, ..base }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_columns_and_rows() {
        assert_eq!(size("1600x1200"), Ok((1600, 1200)));
        assert_eq!(size("4000 × 3000"), Ok((4000, 3000)));
        for wrong in ["", "1600", "0x10", "ax b", "-1x5"] {
            assert!(size(wrong).is_err(), "{wrong}");
        }
    }
}
