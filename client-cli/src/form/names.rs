//! What people call the fields, and in which order they think of them.

use crate::unit;

/// By the type that a field belongs to: the field, and its short name where it has one beside the name without its
/// unit. The order is the order of prompts, templates and help.
const NAMES: &[(&str, &[(&str, &str)])] = &[
    (
        "HoofCare",
        &[
            ("service", ""),
            ("feet", ""),
            ("next_in_weeks", "next"),
            ("handling", ""),
        ],
    ),
    (
        "FootCare",
        &[
            ("before", ""),
            ("after", ""),
            ("findings", ""),
            ("work", ""),
            ("shoe", ""),
        ],
    ),
    (
        "Measures",
        &[
            ("toe_length_mm", "toe"),
            ("toe_angle_deg", "angle"),
            ("pastern_angle_deg", "pastern"),
            ("heel_angle_deg", ""),
            ("heel_length_medial_mm", "heel_medial"),
            ("heel_length_lateral_mm", "heel_lateral"),
            ("wall_height_medial_mm", "wall_medial"),
            ("wall_height_lateral_mm", "wall_lateral"),
            ("width_mm", ""),
            ("length_mm", ""),
            ("support_length_mm", "support"),
            ("frog_length_mm", ""),
            ("frog_width_mm", ""),
            ("sole_depth_mm", "sole"),
            ("coronet_circumference_mm", "coronet"),
            ("method", ""),
        ],
    ),
    (
        "Finding",
        &[
            ("finding", ""),
            ("severity", ""),
            ("region", ""),
            ("note", ""),
        ],
    ),
    (
        "Shoe",
        &[
            ("type", ""),
            ("size", ""),
            ("material", ""),
            ("pad", ""),
            ("nails", ""),
        ],
    ),
    (
        "Vaccination",
        &[
            ("targets", "against"),
            ("product", ""),
            ("manufacturer", "maker"),
            ("lot_number", "lot"),
            ("expiration_date", "expires"),
            ("dose_ml", ""),
            ("route", ""),
            ("site", ""),
            ("reaction_watch", ""),
        ],
    ),
    (
        "Deworming",
        &[
            ("actives", "active"),
            ("product", ""),
            ("concentration_percent", ""),
            ("lot_number", "lot"),
            ("expiration_date", "expires"),
            ("dosed_for_kg", ""),
            ("dose_mg", ""),
            ("weight_from", ""),
            ("reason", ""),
            ("care_plan_id", "plan"),
        ],
    ),
    (
        "EggCount",
        &[
            ("method", ""),
            ("eggs_counted", "eggs"),
            ("multiplication_factor", "factor"),
            ("strongyle_epg", "epg"),
            ("ascarid_epg", "ascarids"),
            ("tapeworm_eggs_seen", "tapeworm"),
            ("collected_at", "collected"),
            ("laboratory", "lab"),
        ],
    ),
    (
        "Weight",
        &[
            ("weight_kg", ""),
            ("method", ""),
            ("heart_girth_cm", "girth"),
            ("body_length_cm", "length"),
            ("height_cm", ""),
            ("neck_cm", ""),
        ],
    ),
    ("BodyCondition", &[("score", ""), ("cresty_neck", "")]),
    (
        "Vitals",
        &[
            ("temperature_c", ""),
            ("pulse_bpm", ""),
            ("respiration_bpm", ""),
            ("digital_pulses", ""),
        ],
    ),
    (
        "Dental",
        &[
            ("procedure", ""),
            ("findings", ""),
            ("sedated", ""),
            ("next_in_months", "next"),
        ],
    ),
    (
        "Medication",
        &[
            ("drug", ""),
            ("dose", ""),
            ("route", ""),
            ("purpose", ""),
            ("lot_number", "lot"),
            ("expiration_date", "expires"),
            ("withdrawal_until", ""),
            ("care_plan_id", "plan"),
        ],
    ),
    (
        "LaboratoryTest",
        &[
            ("test", ""),
            ("drawn_on", "drawn"),
            ("reported_on", "reported"),
            ("result", ""),
            ("accession_number", "accession"),
            ("laboratory", "lab"),
        ],
    ),
    (
        "HealthCertificate",
        &[
            ("number", ""),
            ("issued_on", "issued"),
            ("valid_until", ""),
            ("origin", ""),
            ("destination", ""),
        ],
    ),
    (
        "Movement",
        &[
            ("from", ""),
            ("to", ""),
            ("reason", ""),
            ("mixed_with_others", "mixed"),
        ],
    ),
    (
        "Breeding",
        &[("step", ""), ("in_foal", ""), ("foal_id", "foal")],
    ),
    (
        "Observation",
        &[
            ("signs", "sign"),
            ("diseases", "disease"),
            ("severity", ""),
            ("text", ""),
        ],
    ),
    (
        "AdverseReaction",
        &[
            ("signs", "sign"),
            ("severity", ""),
            ("after_event_id", "after"),
            ("onset_hours", ""),
            ("duration_hours", ""),
            ("treatment", ""),
            ("outcome", ""),
            ("opinion", ""),
            ("reported_to", ""),
            ("case_number", "case"),
        ],
    ),
    (
        "CarePlan",
        &[
            ("domain", ""),
            ("interval_weeks", "every"),
            ("instructions", ""),
            ("actives", "active"),
            ("roles", ""),
            ("valid_until", ""),
        ],
    ),
    (
        "Identity",
        &[
            ("name", ""),
            ("registered_name", ""),
            ("sex", ""),
            ("foaled_on", "foaled"),
            ("breed_type", ""),
            ("microchip", ""),
            ("ueln", ""),
            ("colour", ""),
            ("markings", ""),
            ("risks", "risk"),
            ("dam_vaccinated", ""),
            ("mature_weight_kg", ""),
        ],
    ),
];

fn row(of: &str) -> &'static [(&'static str, &'static str)] {
    let found = NAMES.iter().find(|(name, _)| *name == of);
    found.map_or(&[], |(_, fields)| *fields)
}

/// What people call a field.
pub(super) fn short(of: &str, field: &str) -> String {
    let listed = row(of)
        .iter()
        .find(|(name, short)| *name == field && !short.is_empty());
    listed
        .map_or_else(|| unit::bare(field).unwrap_or(field), |(_, short)| short)
        .to_owned()
}

/// A field's place in the order; one that is not listed comes last.
pub(super) fn place(of: &str, field: &str) -> usize {
    let listed = row(of).iter().position(|(name, _)| *name == field);
    listed.unwrap_or(usize::MAX)
}
