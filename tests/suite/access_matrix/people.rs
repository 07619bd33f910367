//! One horse, boarding in somebody else's barn, and everybody who has to do with it, or no more, or never had.

use chrono::TimeDelta;
use serde_json::{Value, json};
use whorl_care::ids::{BarnId, EventId, HorseId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_contract::event::AttachmentRef;
use whorl_contract::grant::NewInvitation;
use whorl_contract::path;
use whorl_contract::sync::Outcome;
use whorl_contract::transfer::Transfer;
use whorl_http::operate;
use whorl_tests::ledger::{accepted, push_one};
use whorl_tests::paddock::{self, grant, to_barn, to_horse};
use whorl_tests::pen::Pen;
use whorl_tests::{Person, TestServer};

/// The horse's name.
const NAME: &str = "Quillwort";
/// The number of the farrier's licence.
const LICENCE: &str = "QW-2207";
/// The words of an entry from before the sale, of the kind that limited grants cover.
const EARLY: &str = "waded through the sluice";
/// The words of an entry from after the sale, of that kind.
const LATE: &str = "stood on the weighbridge";
/// The words of entries from after the sale, of other kinds.
const SEALED: &str = "winced at the bittern";
/// The lot of the vaccination with these words.
pub(super) const LOT: &str = "QW-3381";

/// What somebody may know of the horse.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sight {
    Nothing,
    UntilTheSale,
    SomeKinds,
    Everything,
}

/// Somebody who asks.
pub(crate) struct Who {
    /// The column of the table.
    pub(super) name: String,
    /// The account; nobody is signed in without one.
    pub(super) person: Option<Person>,
    /// As what they record.
    pub(super) role: Role,
    sight: Sight,
}

impl Who {
    /// What nobody may let this person know.
    pub(super) fn withheld_words(&self) -> &'static [&'static str] {
        match self.sight {
            Sight::Nothing => &[NAME, LICENCE, EARLY, LATE, SEALED],
            Sight::UntilTheSale => &[LATE, SEALED],
            Sight::SomeKinds => &[SEALED],
            Sight::Everything => &[],
        }
    }
}

/// The horse with all these people.
pub(crate) struct Stable {
    /// Those who ask, in the order of the table's columns.
    pub(super) people: Vec<Who>,
    /// Where the horse boards.
    pub(super) barn: BarnId,
    /// The horse.
    pub(super) horse: HorseId,
    /// The barn of whom another horse is offered to.
    pub(super) buyers_barn: BarnId,
    /// An adverse reaction of the horse.
    pub(super) reaction: EventId,
    /// A photo that the vaccination names.
    pub(super) photo: String,
    /// Somebody who is no column: for grants that come and go.
    pub(super) spare: Person,
    /// Their horse.
    pub(super) spares_horse: HorseId,
    /// Somebody who is no column either, and forgets their password time and again.
    pub(super) forgetful: Person,
}

impl Stable {
    /// Who is in this column.
    pub(crate) fn who(&self, name: &str) -> &Who {
        let who = self.people.iter().find(|who| who.name == name);
        who.unwrap_or_else(|| panic!("nobody is {name}"))
    }

    /// Who is in this column, with their account.
    pub(crate) fn person(&self, name: &str) -> &Person {
        let person = self.who(name).person.as_ref();
        person.unwrap_or_else(|| panic!("{name} has no account"))
    }

    /// The columns.
    pub(super) fn names(&self) -> Vec<String> {
        self.people.iter().map(|who| who.name.clone()).collect()
    }

    /// How much a success tells of the horse.
    pub(super) fn told(&self, text: &str) -> &'static str {
        if text.contains(SEALED) {
            "all"
        } else if text.contains(EARLY) || text.contains(LATE) {
            "some"
        } else if self.names_of_it().iter().any(|name| text.contains(name)) {
            "200"
        } else {
            "none"
        }
    }

    /// What shows that an answer is about this horse, its barn or its people.
    fn names_of_it(&self) -> [String; 4] {
        let (horse, barn) = (self.horse.to_string(), self.barn.to_string());
        [horse, barn, NAME.to_owned(), LICENCE.to_owned()]
    }

    /// Fills a stable. The clock goes on by three minutes: tokens outlive that.
    pub(crate) fn of(server: &TestServer) -> Self {
        let mut made = Making {
            server,
            people: Vec::new(),
        };
        made.nobody();
        let _ = made.join("outs", Role::Owner, Sight::Nothing);
        let owner = made.join("ownr", Role::Owner, Sight::Everything);
        let host = made.join("host", Role::BarnStaff, Sight::Everything);
        let seller = made.join("form", Role::Owner, Sight::UntilTheSale);
        let other = made.join("othr", Role::Owner, Sight::Nothing);
        let buyer = made.join("buyr", Role::Owner, Sight::Nothing);
        let operator = made.join("oper", Role::Owner, Sight::Nothing);
        operate::make_operator(&server.state(), &operator.email).expect("an operator");

        let barn = paddock::barn(&host, "Sluice House").id;
        let (horse, early) = Making::sold((&seller, &owner, &host), barn);
        let (reaction, photo) = Making::recorded(&owner, horse);
        assert_eq!(early, 2);

        let others_barn = paddock::barn(&other, "Heronsgate").id;
        made.grants((&owner, horse), (&host, barn), (&other, others_barn));
        let link = owner.post(&path::shares(horse), &json!({"days": 3}));
        assert_eq!(link.status, 201, "{link:?}");
        let spare = server.account("spare");
        let spares_barn = paddock::barn(&spare, "Samphire Field").id;
        Self {
            people: made.people,
            barn,
            horse,
            buyers_barn: paddock::barn(&buyer, "Withy End").id,
            reaction,
            photo,
            spares_horse: paddock::horse(&spare, spares_barn).id,
            spare,
            forgetful: server.account("Rook"),
        }
    }
}

struct Making<'a> {
    server: &'a TestServer,
    people: Vec<Who>,
}

impl Making<'_> {
    fn nobody(&mut self) {
        self.people.push(Who {
            name: "anon".to_owned(),
            person: None,
            role: Role::Owner,
            sight: Sight::Nothing,
        });
    }

    fn join(&mut self, name: &str, role: Role, sight: Sight) -> Person {
        let person = self.server.device_account(name);
        self.people.push(Who {
            name: name.to_owned(),
            person: Some(person.clone()),
            role,
            sight,
        });
        person
    }

    /// A horse with two entries that was sold then.
    fn sold((seller, owner, host): (&Person, &Person, &Person), barn: BarnId) -> (HorseId, i64) {
        let keeps = grant(host, seller, &to_barn(barn, Role::Owner));
        let horse = paddock::horse(seller, barn).id;
        let pen = Pen::of(seller, Role::Owner);
        let identity = pen
            .draft(horse, Kind::Identity)
            .details(json!({"name": NAME}));
        let _ = accepted(seller, &identity.sign());
        let early = accepted(seller, &pen.weight(horse, 498.0).note(EARLY).sign());
        let _ = grant(host, owner, &to_barn(barn, Role::Owner));
        let offer = json!({"to_email": owner.email, "password": seller.password});
        let offer: Transfer = seller.post(&path::horse_transfers(horse), &offer).read();
        let take = json!({"barn_id": barn, "password": owner.password});
        assert_eq!(
            owner.post(&path::transfer_accept(offer.id), &take).status,
            200
        );
        assert_eq!(host.delete(&path::grant(keeps.id)).status, 204);
        (horse, early)
    }

    /// What the new owner records: of the kind that limited grants cover, and of others.
    fn recorded(owner: &Person, horse: HorseId) -> (EventId, String) {
        let pen = Pen::of(owner, Role::Owner);
        let mut photo = b"\x89PNG\r\n\x1a\n".to_vec();
        photo.extend_from_slice(b"no more than a beginning");
        let request = owner.request(reqwest::Method::POST, &path::attachments(horse));
        let brought: Value = owner
            .send(
                request
                    .header("content-type", "image/png")
                    .body(photo.clone()),
            )
            .read();
        let photo = AttachmentRef {
            sha256: brought["sha256"].as_str().expect("a hash").to_owned(),
            media_type: "image/png".to_owned(),
            bytes: u64::try_from(photo.len()).expect("few"),
            caption: None,
        };
        let sha256 = photo.sha256.clone();
        let _ = accepted(owner, &pen.weight(horse, 512.0).note(LATE).sign());
        let mut vaccination = pen
            .draft(horse, Kind::Vaccination)
            .provenance(Provenance::Transcribed);
        vaccination.content.details["lot_number"] = json!(LOT);
        vaccination.content.attachments.push(photo);
        let _ = accepted(owner, &vaccination.note(SEALED).sign());
        let reaction = pen.draft(horse, Kind::AdverseReaction).note(SEALED);
        let _ = accepted(owner, &reaction.sign());
        (reaction.id(), sha256)
    }

    /// The professionals, each with every kind of grant: in force, for the barn, for some kinds, run out, ended, and for
    /// another barn.
    fn grants(
        &mut self,
        (owner, horse): (&Person, HorseId),
        (host, barn): (&Person, BarnId),
        (other, others_barn): (&Person, BarnId),
    ) {
        let soon = Some(self.server.now() + TimeDelta::minutes(1));
        let (mut ended, roles) = (
            Vec::new(),
            [
                ('c', Role::Owner),
                ('s', Role::BarnStaff),
                ('f', Role::Farrier),
                ('v', Role::Vet),
            ],
        );
        for (letter, role) in roles {
            let mut holder =
                |relation: &str, sight| self.join(&format!("{letter}{relation}"), role, sight);
            let in_force = holder("gra", Sight::Everything);
            let _ = grant(owner, &in_force, &to_horse(horse, role));
            if role != Role::Owner {
                let _ = grant(
                    host,
                    &holder("bar", Sight::Everything),
                    &to_barn(barn, role),
                );
                let limited = NewInvitation {
                    kinds: Some(vec![Kind::Weight]),
                    ..to_horse(horse, role)
                };
                let _ = grant(owner, &holder("lim", Sight::SomeKinds), &limited);
            }
            let until = NewInvitation {
                until: soon,
                ..to_horse(horse, role)
            };
            let _ = grant(owner, &holder("exp", Sight::Nothing), &until);
            let revoked = grant(
                owner,
                &holder("rev", Sight::Nothing),
                &to_horse(horse, role),
            );
            ended.push(revoked);
            let _ = grant(
                other,
                &holder("oth", Sight::Nothing),
                &to_barn(others_barn, role),
            );
        }
        self.server.clock.advance(TimeDelta::minutes(2));
        for grant in ended {
            assert_eq!(owner.delete(&path::grant(grant.id)).status, 204);
        }
        self.server.clock.advance(TimeDelta::minutes(1));
        for who in self
            .people
            .iter()
            .filter(|who| matches!(who.role, Role::Farrier | Role::Vet))
        {
            let number = if who.name == "fgra" {
                LICENCE
            } else {
                "SV-20418"
            };
            let licence = json!({"role": who.role, "number": number, "jurisdiction": "gb"});
            let entered = who
                .person
                .as_ref()
                .expect("an account")
                .post(path::LICENCES, &licence);
            assert_eq!(entered.status, 201, "{entered:?}");
        }
        self.brought_too_late(horse);
    }

    /// What a barn hand recorded before their grant was ended, and brings now.
    fn brought_too_late(&self, horse: HorseId) {
        let hand = self
            .people
            .iter()
            .find(|who| who.name == "srev")
            .expect("a barn hand");
        let hand = hand.person.as_ref().expect("an account");
        let then = self.server.now() - TimeDelta::seconds(150);
        let event = Pen::of(hand, Role::BarnStaff)
            .weight(horse, 505.0)
            .recorded_at(then);
        assert_eq!(push_one(hand, &event.sign()), Outcome::Held);
    }
}
