//! The agglomerate fraction beside what chance alone would show, on films rendered independently of this program.

use super::lot::Lot;

/// Two constituents make an agglomerate.
const OF_PAIRS: &str = "[agglomerates]\nrule = \"constituents\"\nmin_constituents = 2\n";

const ID: &str = "agglomerate_fraction_by_chance_pct";

fn envelope(lot: &Lot) -> [f64; 2] {
    ["_low", "_high"].map(|end| lot.value(&format!("{ID}{end}")))
}

#[test]
fn a_film_at_random_lies_within_the_envelope() {
    // reference/render_random.py: discs wherever chance puts them (numpy), 12 % of the area.
    let lot = Lot::of("films/kept-random-16", Some(OF_PAIRS));
    let ([low, high], found) = (envelope(&lot), lot.value("agglomerate_fraction_pct"));
    assert!((low..=high).contains(&found), "{low} … {high}: {found}");
    assert!(low > 10.0 && high < 50.0 && (low..=high).contains(&lot.value(ID)), "{low} … {high}");
}

#[test]
fn a_clumped_film_lies_above_the_envelope() {
    let lot = Lot::of("films/kept-hazy-8", Some(OF_PAIRS));
    let (high, found) = (envelope(&lot)[1], lot.value("agglomerate_fraction_pct"));
    assert!(found > 2.0 * high, "{high}: {found}");
}

#[test]
fn too_few_singles_leave_it_empty_and_a_note_says_why() {
    let lot = Lot::measured("kept-clumps-16");
    for id in [ID.to_owned(), format!("{ID}_low"), format!("{ID}_high")] {
        assert_eq!(lot.outcome.value(&id).and_then(|value| value.value), None, "{id}");
    }
    let notes = &lot.outcome.objectives[0].notes;
    assert!(notes.iter().any(|note| note.contains("34 particles lie alone")), "{notes:?}");
    let info = std::fs::read_to_string(lot.outcome.record_dir.join("bag-info.txt")).unwrap_or_default();
    assert!(info.is_empty() || info.contains("34 particles"), "{info}");
}
