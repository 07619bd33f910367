//! The vocabulary's codes that several kinds, figures and rule packs share: the one list of each.

use crate::kind::codes;

codes! {
    /// The active substance of a dewormer.
    Active {
        /// Ivermectin.
        Ivermectin = "ivermectin",
        /// Moxidectin.
        Moxidectin = "moxidectin",
        /// Pyrantel pamoate (embonate).
        PyrantelPamoate = "pyrantel_pamoate",
        /// Pyrantel tartrate.
        PyrantelTartrate = "pyrantel_tartrate",
        /// Fenbendazole.
        Fenbendazole = "fenbendazole",
        /// Oxibendazole.
        Oxibendazole = "oxibendazole",
        /// Praziquantel.
        Praziquantel = "praziquantel",
    }
}

codes! {
    /// What a dewormer is meant for, or what eggs were counted of.
    Parasite {
        /// Strongyles, large and small.
        Strongyles = "strongyles",
        /// Small strongyles.
        Cyathostomins = "cyathostomins",
        /// Large roundworms, in young horses.
        Ascarids = "ascarids",
        /// Tapeworms.
        Tapeworm = "tapeworm",
        /// Pinworms.
        Pinworm = "pinworm",
        /// Bot fly larvae.
        Bots = "bots",
        /// Threadworms, in foals.
        Threadworm = "threadworm",
    }
}

codes! {
    /// How many strongyle eggs a grown horse sheds.
    Shedder {
        /// Few.
        Low = "low",
        /// Some.
        Moderate = "moderate",
        /// Many.
        High = "high",
    }
}

codes! {
    /// What an egg count reduction test says of a dewormer in a herd.
    Efficacy {
        /// It works.
        Susceptible = "susceptible",
        /// Resistance is beginning.
        LowResistant = "low_resistant",
        /// It no longer works.
        Resistant = "resistant",
        /// The counts allow no answer.
        Inconclusive = "inconclusive",
    }
}

codes! {
    /// How a vaccine gets into the horse.
    Route {
        /// Into a muscle.
        Intramuscular = "intramuscular",
        /// Under the skin.
        Subcutaneous = "subcutaneous",
        /// Into a nostril.
        Intranasal = "intranasal",
        /// By mouth.
        Oral = "oral",
    }
}

codes! {
    /// Where on the horse a vaccine was given.
    Site {
        /// The left side of the neck.
        LeftNeck = "left_neck",
        /// The right side of the neck.
        RightNeck = "right_neck",
        /// The left hindquarter.
        LeftHindquarter = "left_hindquarter",
        /// The right hindquarter.
        RightHindquarter = "right_hindquarter",
        /// The left breast muscle.
        LeftPectoral = "left_pectoral",
        /// The right breast muscle.
        RightPectoral = "right_pectoral",
        /// The left nostril.
        LeftNostril = "left_nostril",
        /// The right nostril.
        RightNostril = "right_nostril",
    }
}

impl Site {
    /// Whether it is a nostril.
    #[must_use]
    pub const fn is_nostril(self) -> bool {
        matches!(self, Self::LeftNostril | Self::RightNostril)
    }
}

codes! {
    /// How a weight was come by.
    WeightMethod {
        /// Weighed on a scale.
        Scale = "scale",
        /// Read off a weight tape.
        Tape = "tape",
        /// Computed from measurements.
        Formula = "formula",
        /// Judged by eye.
        Visual = "visual",
    }
}

codes! {
    /// A sign of illness or injury that somebody saw.
    Sign {
        /// A raised temperature.
        Fever = "fever",
        /// Dull, listless, apart from the others.
        Dullness = "dullness",
        /// Eats less or nothing.
        OffFeed = "off_feed",
        /// Drinks less or nothing.
        NotDrinking = "not_drinking",
        /// Rolls, paws, looks at its flank.
        Colic = "colic",
        /// Loose droppings.
        Diarrhoea = "diarrhoea",
        /// Few or no droppings.
        NoDroppings = "no_droppings",
        /// Coughs.
        Cough = "cough",
        /// A discharge from the nose.
        NasalDischarge = "nasal_discharge",
        /// A discharge from the eye, or an eye held shut.
        EyeTrouble = "eye_trouble",
        /// Swollen glands under the jaw or at the throat.
        SwollenGlands = "swollen_glands",
        /// Breathes fast or with effort.
        LabouredBreathing = "laboured_breathing",
        /// A swelling where something was injected.
        InjectionSiteSwelling = "injection_site_swelling",
        /// An abscess where something was injected.
        InjectionSiteAbscess = "injection_site_abscess",
        /// Stiff or sore neck or muscles.
        Stiffness = "stiffness",
        /// Hives.
        Hives = "hives",
        /// Itches or rubs.
        Itching = "itching",
        /// A swollen face or muzzle.
        FacialSwelling = "facial_swelling",
        /// A swollen leg.
        LegSwelling = "leg_swelling",
        /// Collapses, or a shock after something given.
        Collapse = "collapse",
        /// Unsteady, weak or odd in its movement or behaviour.
        NervousSigns = "nervous_signs",
        /// Cramped or locked muscles.
        MuscleSpasm = "muscle_spasm",
        /// Lame.
        Lameness = "lameness",
        /// Will not put weight on a leg.
        NonWeightBearing = "non_weight_bearing",
        /// A hot foot or a bounding pulse in it.
        HotFoot = "hot_foot",
        /// A wound that breaks the skin.
        Wound = "wound",
        /// A deep, narrow wound.
        PunctureWound = "puncture_wound",
        /// Bleeds.
        Bleeding = "bleeding",
        /// Loses weight.
        WeightLoss = "weight_loss",
        /// Worms in the droppings.
        WormsSeen = "worms_seen",
        /// Rubs its tail.
        TailRubbing = "tail_rubbing",
        /// Ticks on the horse.
        Ticks = "ticks",
        /// Drops feed, or chews oddly.
        Quidding = "quidding",
        /// A mare close to foaling.
        NearFoaling = "near_foaling",
        /// A mare that lost or is losing a foal.
        Abortion = "abortion",
        /// Died.
        Death = "death",
    }
}

impl Sign {
    /// Whether it breaks the skin, so that tetanus cover matters.
    #[must_use]
    pub const fn is_wound(self) -> bool {
        matches!(self, Self::Wound | Self::PunctureWound)
    }
}
