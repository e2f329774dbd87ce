//! Flags of fields that were not taken as the blank was: exposure, gain, and packing with loss.

use evenfilm_core::quality::{Flag, FlagId};

use crate::folder::{Batch, Objective};
use crate::pictures::Info;

/// Exposures and gains that differ by more than this share are two.
const AGREE: f64 = 0.001;

/// What a field's file says against the blank's, or against its objective's first field's where there is no blank. What either does not say cannot
/// differ.
pub(super) fn flags(field: &Info, (batch, objective): (&Batch, &Objective)) -> Vec<Flag> {
    let first = objective.fields.first().and_then(|&i| batch.fields.get(i)).map(|field| &field.source);
    match objective.blank.as_ref().or(first) {
        Some(reference) => against(field, &reference.info),
        None => Vec::new(),
    }
}

fn against(field: &Info, reference: &Info) -> Vec<Flag> {
    let differ = |pair: (Option<f64>, Option<f64>)| {
        let (found, asked) = (pair.0?, pair.1?);
        ((found - asked).abs() > AGREE * found.max(asked)).then_some((found, asked))
    };
    let changed = |pair: Option<(f64, f64)>, advice: &'static str| {
        pair.map(|(found, asked)| FlagId::ExposureChanged.flag(found, asked).with_advice(advice))
    };
    let time = changed(
        differ((field.exposure_s, reference.exposure_s)),
        "its exposure time (s) is not that of the blank: levels and optical density are off; take blank and fields with one setting",
    );
    let gain = changed(
        differ((field.gain, reference.gain)),
        "its gain is not that of the blank: levels and optical density are off; take blank and fields with one setting",
    );
    let number = |lossy: bool| f64::from(u8::from(lossy));
    let lossy = (field.lossy || reference.lossy).then(|| {
        FlagId::Lossy.flag(number(field.lossy), number(reference.lossy)).with_advice(if field.lossy {
            "it was packed with loss (JPEG), which blurs and shifts edges; save fields and blank as TIFF or PNG"
        } else {
            "the blank was packed with loss (JPEG) and the field was not; save both as TIFF or PNG"
        })
    });
    time.into_iter().chain(gain).chain(lossy).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pictures::{Ceiling, probe};

    fn info(exposure_s: Option<f64>, gain: Option<f64>, lossy: bool) -> Info {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("f.bmp");
        std::fs::write(&path, include_bytes!("../../../../tests/reference/formats/grey8.bmp")).unwrap();
        let mut info = probe(&path, &Ceiling::default()).unwrap();
        (info.exposure_s, info.gain, info.lossy) = (exposure_s, gain, lossy);
        info
    }

    #[test]
    fn what_differs_is_told_with_both_values() {
        let blank = info(Some(0.02), Some(100.0), false);
        let of = |field: Info| against(&field, &blank).iter().map(|flag| (flag.id, flag.value, flag.limit)).collect::<Vec<_>>();
        assert_eq!(of(info(Some(0.020_001), Some(100.0), false)), []);
        assert_eq!(of(info(None, None, false)), []);
        assert_eq!(of(info(Some(0.04), None, false)), [("exposure_changed", Some(0.04), Some(0.02))]);
        let all =
            [("exposure_changed", Some(0.01), Some(0.02)), ("exposure_changed", Some(200.0), Some(100.0)), ("lossy", Some(1.0), Some(0.0))];
        assert_eq!(of(info(Some(0.01), Some(200.0), true)), all);
        let lossy = info(None, None, true);
        let against_lossy = |field: &Info| against(field, &lossy).iter().map(|flag| (flag.value, flag.limit)).collect::<Vec<_>>();
        assert_eq!(against_lossy(&blank), [(Some(0.0), Some(1.0))]);
        assert_eq!(against_lossy(&lossy), [(Some(1.0), Some(1.0))]);
    }
}
