//! What somebody found on a foot.

use serde::{Deserialize, Serialize};

use super::check::Check;

/// One finding on a foot: what is seen and felt, not a diagnosis.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Finding {
    /// Its code, from the rule pack `hoof_findings`.
    pub finding: String,
    /// 0 none, 1 mild, 2 moderate, 3 marked, 4 an emergency.
    pub severity: Option<u8>,
    /// Where on the foot.
    pub region: Option<String>,
    /// More about it.
    pub note: Option<String>,
}

impl Finding {
    fn check(&self, at: &str, check: &mut Check<'_>) {
        check.short(&format!("{at}/finding"), Some(&self.finding));
        let listed = &check.context.rules.hoof_findings;
        if !self.finding.trim().is_empty() && listed.find(&self.finding).is_none() {
            let known: Vec<&str> = listed.codes().collect();
            let detail = format!(
                "{} is no finding; known are {}",
                self.finding,
                known.join(", ")
            );
            check.faults.add(format!("{at}/finding"), detail);
        }
        severity(&format!("{at}/severity"), self.severity, check);
        check.short(&format!("{at}/region"), self.region.as_deref());
        check.long(&format!("{at}/note"), self.note.as_deref());
    }
}

/// Checks a list of findings.
pub(super) fn check_all(at: &str, findings: &[Finding], check: &mut Check<'_>) {
    for (index, finding) in findings.iter().enumerate() {
        finding.check(&format!("{at}/{index}"), check);
    }
}

/// Checks a severity: 0 none to 4 an emergency.
pub(super) fn severity(at: &str, severity: Option<u8>, check: &mut Check<'_>) {
    if let Some(severity) = severity {
        check.that(
            severity <= 4,
            at,
            format!("{severity} is no severity; 0 is none, 4 an emergency"),
        );
    }
}
