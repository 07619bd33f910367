//! What was found on a foot and around it, judged.

use crate::details::Measures;
use crate::figure::Basis;
use crate::figure::growth::age::whole_months;
use crate::rules::{Row, Rules};
use crate::unit::plain;

use super::balance::{Flag, rest_on};
use super::findings::{FootSign, Judged, Seen};
use super::geometry;
use super::input::Input;
use super::trend::{Change, largest_turn};

/// Judges what was found; an Obel grade is a finding of laminitis.
pub(super) fn judge(input: &Input, rules: &Rules, basis: &mut Basis) -> Vec<Judged> {
    let pack = &rules.hoof_findings;
    let obel = input.obel.filter(|grade| *grade > 0);
    let laminitis = obel.and_then(|obel| {
        let severity = pack.severity_of_obel("laminitis_acute", obel)?;
        pack.judge("laminitis_acute", Some(severity), None)
    });
    let found = input.findings.iter().flatten().filter_map(|finding| {
        pack.judge(
            &finding.finding,
            finding.severity,
            finding.region.as_deref(),
        )
    });
    let judged: Vec<Judged> = found.chain(laminitis).collect();
    for one in &judged {
        if let Some(rule) = pack.find(&one.finding)
            && let Some(source) = pack.source(rule.source())
        {
            basis.rests_on("urgency of findings", source, rule.mark());
        }
    }
    judged
}

/// The red flags that are up around the foot.
pub(super) fn red_flags(
    input: &Input,
    changes: &[Change],
    rules: &Rules,
    basis: &mut Basis,
) -> Vec<Flag> {
    let mut signs = input.signs.clone().unwrap_or_default();
    let young = input.foaled_on.zip(input.on);
    if young.is_some_and(|(foaled, on)| whole_months(foaled.latest().min(on), on) < 12) {
        signs.push(FootSign::Foal);
    }
    if input.lameness_aaep.is_some_and(|grade| grade > 0) {
        signs.push(FootSign::Lame);
    }
    let since_shoeing = input.on.zip(input.shod_on);
    let seen = Seen {
        signs,
        lameness_aaep: input.lameness_aaep,
        angle_change_deg: largest_turn(changes),
        days_since_shoeing: since_shoeing
            .and_then(|(on, shod)| u32::try_from((on - shod).num_days()).ok()),
        times_in_a_year: Vec::new(),
    };
    let up = rules.hoof_findings.red_flags(&seen);
    up.into_iter()
        .map(|flag| {
            if let Some(source) = rules.hoof_findings.source(flag.source()) {
                basis.rests_on("urgency of findings", source, flag.mark());
            }
            Flag {
                code: flag.id.clone(),
                text: format!("{} {}.", flag.says, flag.urgency.words()),
                severity: None,
                urgency: Some(flag.urgency),
                red_flag: true,
            }
        })
        .collect()
}

/// Says beside a broken axis how much height the heel lacks or has too much of, and that it is not changed at once.
pub(super) fn straighten(
    difference: Option<f64>,
    measures: &Measures,
    rules: &Rules,
    flags: &mut [Flag],
    basis: &mut Basis,
) {
    let (Some(difference), Some(support)) = (difference, measures.support_length_mm) else {
        return;
    };
    let Some(most) = rules.hoof.amount("wedge-at-once-deg") else {
        return;
    };
    let broken = ["axis_broken_back", "axis_broken_forward"];
    for flag in flags
        .iter_mut()
        .filter(|flag| broken.contains(&&*flag.code))
    {
        let tenth = |mm: f64| plain((mm * 10.0).round() / 10.0);
        let height = geometry::wedge_mm(support, difference.abs());
        flag.text = format!(
            "{} Over this foot's length that is {} mm of height at the heel; no more than {}° ({} mm) at one visit.",
            flag.text,
            tenth(height),
            plain(most.value),
            tenth(geometry::wedge_mm(support, most.value)),
        );
        rest_on(most, &rules.hoof, basis);
    }
}
