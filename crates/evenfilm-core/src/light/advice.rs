//! What a reader should know of the light that a field was measured by.

use super::Reference;
use crate::field::Flag;

/// Flags for what is assumed of the light.
pub fn flags_of_light(reference: Reference, has_dark: bool) -> Vec<Flag> {
    let flag = |id, advice| Flag { id, value: Some(0.0), limit: Some(1.0), advice };
    let mut flags = Vec::new();
    match reference {
        Reference::Blank | Reference::Scatterer => {}
        Reference::FilmAlone => flags.push(flag(
            "no_blank",
            "without a picture of the empty slide, bare places cannot be told from film; photograph a blank at the same exposure",
        )),
        Reference::BareSeen => flags.push(flag(
            "no_blank",
            "without a picture of the empty slide, the light was taken from the picture, and its lightest even places as bare; photograph a blank at the same exposure",
        )),
        Reference::ClearFilm => flags.push(flag(
            "no_blank",
            "without a picture of the empty slide, the light was taken from the picture, and the film as clear because the recipe says so",
        )),
        Reference::BlackGround => flags.push(flag(
            "relative_to_film",
            "without a picture of an even scatterer, the light was taken from the film, and bare area is known only beside it: no verdict should rest on it",
        )),
    }
    if reference.is_dark_field() && !has_dark {
        flags.push(flag("no_dark", "without a picture of the empty slide in dark field, bare places were taken as black"));
    }
    flags
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_assumption_has_its_flag() {
        let ids = |reference, has_dark| flags_of_light(reference, has_dark).iter().map(|f| f.id).collect::<Vec<_>>();
        assert!(ids(Reference::Blank, false).is_empty() && ids(Reference::Scatterer, true).is_empty());
        assert_eq!(ids(Reference::BlackGround, false), ["relative_to_film", "no_dark"]);
        assert_eq!(ids(Reference::Scatterer, false), ["no_dark"]);
        let advice = |reference| flags_of_light(reference, false)[0].advice;
        assert!(advice(Reference::FilmAlone).contains("cannot be told") && !advice(Reference::BareSeen).contains("cannot be told"));
    }
}
