//! Diameters sorted into bins of equal ratio.

use evenfilm_core::sizes::Sized;

/// One bin: from `from` up to below `to`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bin {
    /// Lower end.
    pub from: f64,
    /// Upper end.
    pub to: f64,
    /// What lies in it.
    pub amount: f64,
}

impl Bin {
    /// Width in decades.
    pub fn decades(&self) -> f64 {
        libm::log10(self.to / self.from)
    }
}

/// Bins per decade, for so many objects at least: the preferred numbers R10, R20 and R40 of ISO 3:1973, unrounded.
const PER_DECADE: [(f64, f64); 3] = [(2000.0, 40.0), (200.0, 20.0), (0.0, 10.0)];
/// A cut bin narrower than this share of a whole one joins its neighbour.
const NARROW: f64 = 1.0 / 3.0;
/// A diameter this near below the end of a bin, in bins, lies on it.
const ON_THE_END: f64 = 1e-9;

/// Bins per decade: by the effective number of objects (Σa)² ÷ Σa² (Kish 1965), since few large ones decide a distribution by volume.
pub(super) fn per_decade(amounts: impl Iterator<Item = f64>) -> f64 {
    let (sum, squares) = amounts.fold((0.0, 0.0), |(sum, squares), a| (sum + a, squares + a * a));
    let effective = if squares > 0.0 { sum * sum / squares } else { 0.0 };
    PER_DECADE.iter().find(|(least, _)| effective >= *least).map_or(10.0, |(_, number)| *number)
}

/// Sorts diameters (`weight` is the amount each stands for) into bins that end at 10^(k ÷ `per_decade`), from the first that holds one to
/// the last. Nothing below `cut` was counted, so that the bin that holds it begins there.
pub(super) fn bins(sizes: &[Sized], cut: Option<f64>, per_decade: f64) -> Vec<Bin> {
    let place = |diameter: f64| (per_decade * libm::log10(diameter) + ON_THE_END).floor();
    let end = |place: f64| libm::pow(10.0, place / per_decade);
    let good = || sizes.iter().filter(|size| size.diameter > 0.0 && size.diameter.is_finite() && size.weight.is_finite());
    let (Some(first), Some(last)) =
        (good().map(|s| place(s.diameter)).min_by(f64::total_cmp), good().map(|s| place(s.diameter)).max_by(f64::total_cmp))
    else {
        return Vec::new();
    };
    let mut bins = Vec::new();
    let mut at = first;
    while at <= last {
        bins.push(Bin { from: end(at), to: end(at + 1.0), amount: 0.0 });
        at += 1.0;
    }
    for size in good() {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a bin from 0 to the last")]
        let i = (place(size.diameter) - first) as usize;
        bins[i].amount += size.weight;
    }
    let smallest = good().map(|size| size.diameter).fold(f64::INFINITY, f64::min);
    if let Some(cut) = cut.filter(|cut| bins[0].from < *cut && *cut <= smallest && *cut < bins[0].to) {
        bins[0].from = cut;
        if bins.len() > 1 && bins[0].decades() < NARROW / per_decade {
            let gone = bins.remove(0);
            bins[0] = Bin { from: gone.from, amount: gone.amount + bins[0].amount, ..bins[0] };
        }
    }
    bins
}
