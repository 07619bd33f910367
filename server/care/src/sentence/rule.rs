//! What a rule is about, in words: its id is for those who write rule packs, and for nobody else.

use super::words;

/// Ids that say too little without their pack around them.
const TOLD: [(&str, &str); 33] = [
    ("least_kg", "the least weight that is believed"),
    ("most_kg", "the greatest weight that is believed"),
    (
        "draft_only_from_kg",
        "the weight from which only a draft horse is believed",
    ),
    ("doubtful_from_kg", "the weight from which it is doubted"),
    ("miniature_most_kg", "the greatest weight of a miniature"),
    ("pony_most_kg", "the greatest weight of a pony"),
    ("donkey_most_kg", "the greatest weight of a donkey"),
    (
        "grown_from_kg",
        "the weight from which a horse is taken as grown",
    ),
    ("weight_good_for_days", "how long a weight serves"),
    (
        "foal_weight_good_for_days",
        "how long a foal's weight serves",
    ),
    ("light_below_kg", "the weight below which a horse is light"),
    ("thin_at_score", "the condition at which a horse is thin"),
    (
        "ascarids_until_months",
        "the age until which ascarids come first",
    ),
    (
        "reduction_from_day",
        "the first day of a count after worming",
    ),
    (
        "reduction_until_day",
        "the last day of a count after worming",
    ),
    (
        "size_of_a_reduction_test",
        "how many horses a reduction test needs",
    ),
    ("least-weight", "the least weight that is believed"),
    ("most-weight", "the greatest weight that is believed"),
    ("open-age", "an age that is not known to the day"),
    ("weight-off-the-curve", "how far from the curve is too far"),
    ("toe-long", "what is a long toe"),
    ("overgrown", "what is overgrown"),
    ("small-foot", "what is a small foot"),
    (
        "reaction_look_back",
        "how far back a reaction is looked for",
    ),
    ("count_window_most", "when to count after worming"),
    ("evidence.young", "egg counts of the young"),
    ("weight.foal", "weighing foals"),
    ("weight.grown", "weighing grown horses"),
    ("class_and_season", "intervals by class and season"),
    ("farrier", "the interval that the farrier set"),
    ("shod", "the interval of a shod horse"),
    ("booster", "the yearly dose"),
    ("yearly", "the yearly dose"),
];

/// Families of ids that begin alike.
const BEGIN: [(&str, &str); 15] = [
    ("axis-", "the hoof-pastern axis, "),
    ("pair-", "a pair of feet, "),
    ("toe-at-", "toe length at "),
    ("toe-angle-", "toe angle, "),
    ("steeper-", "one foot steeper than the other, grade "),
    ("growth-", "hoof growth, "),
    ("interval-", "the interval, "),
    ("cap-", "the longest interval with "),
    ("winter-", "when winter is, "),
    ("watch_", "the watch after "),
    ("count_window_", "when to count after worming, "),
    ("foal.", "a foal's hooves, "),
    ("barefoot.", "the interval of a barefoot horse, "),
    ("dental.", "teeth, "),
    ("cyathostomins_", "what is expected of small strongyles, "),
];

/// Words that are written otherwise than in ids.
const WRITTEN: [(&str, &str); 12] = [
    ("us", "(US)"),
    ("gb", "(GB)"),
    ("lb", "lb"),
    ("nrc", "NRC"),
    ("stoll", "Stoll"),
    ("west nile", "West Nile virus"),
    ("ehv 1 4", "herpes (EHV-1/4)"),
    ("potomac", "Potomac"),
    ("eia", "equine infectious anaemia"),
    ("eva", "viral arteritis"),
    ("vee", "Venezuelan encephalitis"),
    ("cem", "contagious metritis"),
];

/// What a rule is about, in words: of an id, or of a text with ids in it.
#[must_use]
pub fn rule(id: &str) -> String {
    if let Some((_, told)) = TOLD.iter().find(|(known, _)| *known == id) {
        return (*told).to_owned();
    }
    let family = BEGIN.iter().find(|(begin, _)| id.starts_with(begin));
    let (told, rest) = family.map_or(("", id), |(begin, told)| (*told, &id[begin.len()..]));
    let rest = words(&rest.replace('.', ", ").replace('-', " "));
    let rest = WRITTEN
        .iter()
        .fold(format!(" {rest} "), |rest, (found, written)| {
            rest.replace(&format!(" {found} "), &format!(" {written} "))
                .replace(&format!(" {found}, "), &format!(" {written}, "))
        });
    let rest = rest.trim();
    let units = [" mm", " deg", " kg"];
    let rest = units
        .iter()
        .find_map(|unit| rest.strip_suffix(unit))
        .unwrap_or(rest);
    format!("{told}{rest}")
}

#[cfg(test)]
mod tests {
    use super::rule;

    #[test]
    fn a_rule_is_told_in_words() {
        for (id, told) in [
            ("weight_good_for_days", "how long a weight serves"),
            ("west_nile.adult", "West Nile virus, adult"),
            ("interval-barefoot-winter", "the interval, barefoot winter"),
            ("moxidectin_us", "moxidectin (US)"),
            ("pastern_angle_deg", "pastern angle"),
            ("watch_eva", "the watch after viral arteritis"),
            ("growth curve nrc", "growth curve NRC"),
            (
                "the ceiling of pyrantel_pamoate",
                "the ceiling of pyrantel pamoate",
            ),
        ] {
            assert_eq!(rule(id), told);
        }
    }
}
