//! The procedure policy: which role may record which kind of event, at which grade. It is data; this reads it.
//!
//! It defers to local law. Every decision names the row it rests on.

use serde::{Deserialize, Serialize};

use crate::details::Domain;
use crate::kind::{Kind, Provenance, Role, codes};
use crate::rules::{Header, Mark, Pack, Source, row, tables};

codes! {
    /// What narrows a permission.
    Condition {
        /// Only under a care plan in force that names the role.
        CarePlan = "care_plan",
        /// Only about an event of one's own.
        OwnEvents = "own_events",
        /// Only about hooves.
        Hoof = "hoof",
    }
}

/// What one role may do by one row.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = PolicyCell))]
#[serde(deny_unknown_fields, default)]
pub struct Cell {
    /// The grades that the role may claim; none: it may not record the kind.
    pub grades: Vec<Provenance>,
    /// What narrows it.
    pub only: Option<Condition>,
    /// What a person should know about it.
    pub says: Option<String>,
}

/// One row: some kinds, and what each role may do.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct PolicyRow {
    /// The row's name, which refusals quote.
    pub id: String,
    /// The kinds that it is about.
    pub kinds: Vec<Kind>,
    /// Where it holds, as an ISO 3166 code (`US-KY`, `GB`); everywhere if missing.
    pub jurisdiction: Option<String>,
    /// What an owner may do.
    #[serde(default)]
    pub owner: Cell,
    /// What barn staff may do.
    #[serde(default)]
    pub barn_staff: Cell,
    /// What a farrier may do.
    #[serde(default)]
    pub farrier: Cell,
    /// What a vet may do.
    #[serde(default)]
    pub vet: Cell,
    /// The source of the row.
    pub source: String,
    /// Its edition.
    pub edition: String,
    /// How well it is confirmed.
    pub mark: Mark,
}

row!(PolicyRow);

impl PolicyRow {
    /// What a role may do by this row.
    #[must_use]
    pub const fn cell(&self, role: Role) -> &Cell {
        match role {
            Role::Owner => &self.owner,
            Role::BarnStaff => &self.barn_staff,
            Role::Farrier => &self.farrier,
            Role::Vet => &self.vet,
        }
    }

    /// How closely it is about a place: nothing if it isn't about it at all.
    fn closeness(&self, place: Option<&str>) -> Option<usize> {
        match (self.jurisdiction.as_deref(), place) {
            (None, _) => Some(0),
            (Some(ours), Some(place)) => {
                // ISO 3166 codes mean the same in capitals and in small letters, and people write both.
                let (ours, place) = (ours.to_ascii_lowercase(), place.to_ascii_lowercase());
                let rest = place.strip_prefix(&ours)?;
                (rest.is_empty() || rest.starts_with('-')).then_some(ours.len())
            }
            (Some(_), None) => None,
        }
    }

    /// Who may record by this row, for a refusal.
    fn others(&self) -> String {
        let may = Role::ALL
            .iter()
            .filter(|role| !self.cell(**role).grades.is_empty());
        may.map(|role| words(role.code()))
            .collect::<Vec<_>>()
            .join(" or ")
    }
}

/// What is known around an event when the policy decides.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Circumstances<'a> {
    /// Where the horse is, as an ISO 3166 code.
    pub jurisdiction: Option<&'a str>,
    /// The author has a licence on record for this role.
    pub has_licence: bool,
    /// A care plan covers it, or covers what an amendment makes of an event: see [`crate::care_plan`].
    pub care_plan_in_force: bool,
    /// The target is an event of the author's own.
    pub own_event: bool,
    /// The kind of the target, of an amendment, retraction or countersign.
    pub target: Option<Kind>,
    /// What the care plan that is recorded is about.
    pub plan_domain: Option<Domain>,
}

/// A permission.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Allowed {
    /// The row that it rests on.
    pub row: String,
    /// What a person should know about it.
    pub says: Option<String>,
}

/// A refusal.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[error("{reason} (policy row `{row}`)")]
pub struct Refusal {
    /// The row that it rests on.
    pub row: String,
    /// Why, and what would do, in words.
    pub reason: String,
}

/// The rule pack `policy`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Policy {
    /// The head of the file.
    pub pack: Header,
    /// What the rows rest on.
    #[serde(rename = "source", default)]
    pub sources: Vec<Source>,
    /// The rows; where two fit a kind equally well, the later one holds.
    #[serde(rename = "rule", default)]
    pub rules: Vec<PolicyRow>,
}

impl Policy {
    /// The row for a kind at a place.
    #[must_use]
    pub fn row(&self, kind: Kind, jurisdiction: Option<&str>) -> Option<&PolicyRow> {
        let about = self.rules.iter().filter(|row| row.kinds.contains(&kind));
        let close = about.filter_map(|row| Some((row.closeness(jurisdiction)?, row)));
        close
            .max_by_key(|(closeness, _)| *closeness)
            .map(|(_, row)| row)
    }

    /// Whether a role may record a kind at a grade.
    ///
    /// What amends an event is itself held to that event's row, so that nobody writes by an amendment what they
    /// couldn't record.
    ///
    /// # Errors
    ///
    /// The refusal, with its row.
    pub fn decide(
        &self,
        role: Role,
        kind: Kind,
        grade: Provenance,
        around: &Circumstances<'_>,
    ) -> Result<Allowed, Refusal> {
        let Some(row) = self.row(kind, around.jurisdiction) else {
            return Err(Refusal {
                row: "none".to_owned(),
                reason: format!("the policy says nothing about {}", words(kind.code())),
            });
        };
        let cell = row.cell(role);
        let refuse = |reason: String| {
            Err(Refusal {
                row: row.id.clone(),
                reason,
            })
        };
        let (who, what) = (words(role.code()), words(kind.code()));
        if cell.grades.is_empty() {
            return refuse(format!("{who} may not record {what}; {} may", row.others()));
        }
        if !cell.grades.contains(&grade) {
            let grades: Vec<_> = cell.grades.iter().map(|grade| grade.code()).collect();
            return refuse(format!(
                "{who} may record {what} as {} only, not as {grade}",
                grades.join(" or ")
            ));
        }
        if grade == Provenance::Attested && !around.has_licence {
            return refuse(format!(
                "attested {what} needs a licence on record; enter yours first, or record it at another grade if you may"
            ));
        }
        if let Some(unmet) = cell.only.and_then(|only| only.unmet(kind, around)) {
            return refuse(format!("{who} may record {what} only {unmet}"));
        }
        if let (Kind::Amendment, Some(target)) = (kind, around.target) {
            let then = Circumstances {
                target: None,
                ..*around
            };
            self.decide(role, target, grade, &then)?;
        }
        Ok(Allowed {
            row: row.id.clone(),
            says: cell.says.clone(),
        })
    }
}

impl Condition {
    /// What is wanting, in words that follow "only"; nothing if it is met.
    fn unmet(self, kind: Kind, around: &Circumstances<'_>) -> Option<&'static str> {
        let about_hooves = match kind {
            Kind::CarePlan => around.plan_domain == Some(Domain::Hoof),
            kind => matches!(
                around.target.unwrap_or(kind),
                Kind::HoofCare | Kind::HoofCheck
            ),
        };
        match self {
            Self::CarePlan if !around.care_plan_in_force => {
                Some("under a care plan in force that names them; ask the vet for one")
            }
            Self::OwnEvents if !around.own_event => {
                Some("of an event of their own; ask whoever recorded it")
            }
            Self::Hoof if !about_hooves => Some("about hooves"),
            _ => None,
        }
    }
}

/// A code as words: `hoof_care` is "hoof care".
fn words(code: &str) -> String {
    code.replace('_', " ")
}

impl Pack for Policy {
    const SUBJECT: &'static str = "policy";
    const BUILT_IN: &'static str = include_str!("../rules/policy.toml");

    tables!(pack, sources; rules);

    fn check(&self) -> Result<(), (String, String)> {
        for row in &self.rules {
            let wrong = |reason: &str| Err((row.id.clone(), reason.to_owned()));
            if row.kinds.is_empty() {
                return wrong("it is about no kind");
            }
            let lay = [&row.owner, &row.barn_staff];
            if lay
                .iter()
                .any(|cell| cell.grades.contains(&Provenance::Attested))
            {
                return wrong("owner and barn staff have no licence, so they can't attest");
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
