//! The diseases that horses are vaccinated against, and sets of them.

use crate::kind::codes;

codes! {
    /// A disease that a vaccine is aimed at.
    Disease {
        /// Tetanus.
        Tetanus = "tetanus",
        /// Eastern equine encephalomyelitis.
        EasternEncephalitis = "eee",
        /// Western equine encephalomyelitis.
        WesternEncephalitis = "wee",
        /// Venezuelan equine encephalomyelitis.
        VenezuelanEncephalitis = "vee",
        /// West Nile virus.
        WestNile = "west_nile",
        /// Rabies.
        Rabies = "rabies",
        /// Equine influenza.
        Influenza = "influenza",
        /// Equine herpesvirus 1 and 4.
        Herpes = "ehv_1_4",
        /// Strangles.
        Strangles = "strangles",
        /// Anthrax.
        Anthrax = "anthrax",
        /// Botulism.
        Botulism = "botulism",
        /// Equine viral arteritis.
        ViralArteritis = "eva",
        /// Leptospirosis.
        Leptospirosis = "leptospirosis",
        /// Potomac horse fever.
        PotomacHorseFever = "potomac_horse_fever",
        /// Rotavirus.
        Rotavirus = "rotavirus",
        /// Snake bite.
        SnakeBite = "snake_bite",
    }
}

impl Disease {
    /// Its name in a sentence.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Tetanus => "tetanus",
            Self::EasternEncephalitis => "eastern encephalitis",
            Self::WesternEncephalitis => "western encephalitis",
            Self::VenezuelanEncephalitis => "Venezuelan encephalitis",
            Self::WestNile => "West Nile virus",
            Self::Rabies => "rabies",
            Self::Influenza => "influenza",
            Self::Herpes => "herpes (EHV-1/4)",
            Self::Strangles => "strangles",
            Self::Anthrax => "anthrax",
            Self::Botulism => "botulism",
            Self::ViralArteritis => "viral arteritis",
            Self::Leptospirosis => "leptospirosis",
            Self::PotomacHorseFever => "Potomac horse fever",
            Self::Rotavirus => "rotavirus",
            Self::SnakeBite => "snake bite",
        }
    }
}

/// A set of diseases: what one product is aimed at.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Diseases(u16);

impl Diseases {
    /// Puts a disease in.
    pub const fn insert(&mut self, disease: Disease) {
        self.0 |= 1 << disease as u16;
    }

    /// Puts in all of another set.
    pub const fn insert_all(&mut self, others: Self) {
        self.0 |= others.0;
    }

    /// Whether a disease is in it.
    #[must_use]
    pub const fn contains(self, disease: Disease) -> bool {
        self.0 & (1 << disease as u16) != 0
    }

    /// Whether nothing is in it.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }
}

impl FromIterator<Disease> for Diseases {
    fn from_iter<I: IntoIterator<Item = Disease>>(diseases: I) -> Self {
        let mut set = Self::default();
        for disease in diseases {
            set.insert(disease);
        }
        set
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_set_holds_what_was_put_in() {
        let set: Diseases = [Disease::Influenza, Disease::SnakeBite]
            .into_iter()
            .collect();
        for disease in Disease::ALL {
            let expected = matches!(disease, Disease::Influenza | Disease::SnakeBite);
            assert_eq!(set.contains(*disease), expected, "{disease}");
        }
        assert!(Diseases::default().is_empty());
    }
}
