//! How each operation is called: on the horse of the matrix, or on something fresh that belongs to its owner.

use reqwest::Method;
use serde_json::{Value, json};
use uuid::Uuid;
use whorl_care::ids::{BarnId, HorseId, TransferId, WebhookId};
use whorl_care::kind::Role;
use whorl_contract::calendar::Calendar;
use whorl_contract::grant::{Grant, Invitation};
use whorl_contract::licence::Licence;
use whorl_contract::path;
use whorl_contract::share::Share;
use whorl_contract::sync::Outcome;
use whorl_contract::transfer::Transfer;
use whorl_http::operate;
use whorl_store::StoreError;
use whorl_store::webhooks::{self, WebhookRow};
use whorl_tests::ledger::push_one;
use whorl_tests::paddock::{self, code, grant, new_id, to_horse};
use whorl_tests::pen::Pen;
use whorl_tests::{Answer, Person, TestServer};

use super::people::{LOT, Stable, Who};
use super::target::{Body, Target, send};
use super::{Heard, status};

/// Whoever has the secret gets the answer, whoever else they are.
pub(super) const BY_SECRET: &[&str] = &[
    "calendar_feed",
    "get_shared_history",
    "get_shared_bundle",
    "get_shared_pdf",
];

/// Calls operations; keeps what nobody has used up.
pub(crate) struct Calls<'a> {
    server: &'a TestServer,
    stable: &'a Stable,
    owner: &'a Person,
    kept: Option<(String, Target)>,
    absent: Option<(String, Answer)>,
}

impl<'a> Calls<'a> {
    /// Nothing is kept yet.
    pub(crate) fn new(server: &'a TestServer, stable: &'a Stable) -> Self {
        let owner = stable.person("ownr");
        Self {
            server,
            stable,
            owner,
            kept: None,
            absent: None,
        }
    }

    /// Calls an operation as somebody, and the same on something that is not there.
    pub(super) fn make(&mut self, name: &str, method: &str, path: &str, who: &Who) -> Heard {
        let kept = self.kept.take().filter(|(kept, _)| kept == name);
        let target = kept.map_or_else(|| self.target(name, who), |(_, target)| target);
        let method = Method::from_bytes(method.to_uppercase().as_bytes()).expect("a method");
        let caller = target.caller.clone().unwrap_or_else(|| match &who.person {
            Some(person) => (**person).clone(),
            None => self.server.anonymous(),
        });
        let answer = send(&caller, &method, path, &target);
        let absent = (status(&answer) >= 402)
            .then(|| self.absent(name, &target, |absent| send(&caller, &method, path, absent)))
            .flatten();
        if !target.personal && (method == Method::GET || status(&answer) >= 400) {
            self.kept = Some((name.to_owned(), target));
        }
        Heard { answer, absent }
    }

    /// What is answered for something that is not there: the same to everybody, so it is asked once.
    fn absent(
        &mut self,
        name: &str,
        target: &Target,
        ask: impl FnOnce(&Target) -> Answer,
    ) -> Option<Answer> {
        if let Some((_, known)) = self.absent.as_ref().filter(|(asked, _)| asked == name) {
            return Some(known.clone());
        }
        let answer = ask(&target.absent()?);
        if !target.personal {
            self.absent = Some((name.to_owned(), answer.clone()));
        }
        Some(answer)
    }

    /// Something fresh to call an operation on, that the horse's owner may.
    #[expect(clippy::too_many_lines, reason = "a list of all operations")]
    pub(crate) fn target(&self, name: &str, who: &Who) -> Target {
        let Stable { barn, horse, .. } = self.stable;
        let password = who
            .person
            .as_ref()
            .map_or("", |person| person.password.as_str());
        let details = json!({"name": "Sluice House", "time_zone": "Europe/London", "region": "gb"});
        let entry = "?rules=fei-influenza&on=2027-03-10";
        match name {
            "live"
            | "ready"
            | "get_server"
            | "get_account"
            | "export_account"
            | "list_barns"
            | "list_calendars"
            | "list_devices"
            | "my_due_list"
            | "list_grants"
            | "list_held"
            | "list_horses"
            | "list_invitations"
            | "list_licences"
            | "get_policy"
            | "list_rules"
            | "list_sessions"
            | "get_heads"
            | "list_transfers"
            | "list_notices"
            | "get_notice_settings"
            | "list_undelivered"
            | "list_webhooks" => Target::at(&[]),
            "calendar_feed" => Target::at(&[&self.calendar().1]),
            "change_password" => {
                let same =
                    json!({"current": password, "new": password, "end_other_sessions": false});
                Target::of(&[], same).for_one()
            }
            "open_account" => {
                let new = json!({"email": format!("{}@saltmarsh.example", Uuid::now_v7()), "name": "Rook",
                    "password": "samphire grows by the slipway"});
                Target::of(&[], new)
            }
            "reset_password" => {
                let (email, code) = forgotten(self.server, self.stable);
                let new =
                    json!({"email": email, "code": code, "new": "samphire grows by the slipway"});
                Target::of(&[], new)
            }
            "mark_notices_read" => Target::of(&[], json!({"until": "2027-03-04T00:00:00Z"})),
            "choose_notice_settings" => Target::of(&[], json!({"email": "red_flags"})),
            "make_webhook" => Target::of(&[], json!({"url": "https://hooks.example/in"})),
            "rotate_webhook" | "end_webhook" => Target::at(&[&self.webhook()]),
            "open_barn" => Target::of(&[], details),
            "put_barn" => Target::of(&[barn], details),
            "get_barn" | "due_in_barn" | "get_efficacy" | "get_health_watch" => Target::at(&[barn]),
            "plan_visits" => {
                let plan = |barn: BarnId| {
                    json!({"barn_id": barn, "work": "weight", "from": "2027-03-04",
                    "until": "2027-05-31", "capacity": 4})
                };
                Target::of(&[], plan(*barn)).or_absent(plan(new_id()))
            }
            "entry_of_barn" => Target::at(&[barn]).asking(entry),
            "make_calendar" => Target::of(&[], json!({"barn_id": barn}))
                .or_absent(json!({"barn_id": Uuid::now_v7()})),
            "revoke_calendar" => Target::at(&[&self.calendar().0.id]),
            "revoke_device" => Target::at(&[&self.owner.elsewhere(true).device()]),
            "push_events" => self.push(who),
            "compute_figure" => {
                let figure =
                    json!({"class": "adult", "heart_girth_cm": 185, "body_length_cm": 165});
                Target::of(&[&"weight"], figure)
            }
            "revoke_grant" => Target::at(&[&self.grant().id]),
            "decide_held" => Target::of(&[&self.held()], json!({"accept": true})),
            "add_horse" => {
                let new = |barn: BarnId| json!({"id": Uuid::now_v7(), "barn_id": barn});
                Target::of(&[], new(*barn)).or_absent(new(new_id()))
            }
            "add_attachment" => {
                let mut photo = b"\x89PNG\r\n\x1a\n".to_vec();
                photo.extend(Uuid::now_v7().as_bytes());
                Target {
                    body: Body::Photo(photo),
                    ..Target::at(&[horse])
                }
            }
            "get_attachment" => Target::at(&[horse, &self.stable.photo]),
            "move_horse" => Target::of(&[horse], json!({"barn_id": barn})),
            "get_horse" | "due_for_horse" | "get_history" | "get_history_pdf" | "get_log"
            | "list_readings" | "list_shares" => Target::at(&[horse]),
            "make_bundle" => Target::of(&[horse], json!({})),
            "entry_of_horse" => Target::at(&[horse]).asking(entry),
            "get_reaction_report" => Target::at(&[horse, &self.stable.reaction]),
            "share_history" => Target::of(&[horse], json!({"days": 3})),
            "end_share" => Target::at(&[horse, &self.share().id]),
            "get_shared_history" | "get_shared_bundle" | "get_shared_pdf" => {
                let url = self.share().url.expect("the link's address");
                Target::at(&[&url.rsplit('/').next().expect("a secret")])
            }
            "offer_horse" => {
                self.withdraw_offers();
                let offer = json!({"to_email": self.stable.spare.email, "password": password});
                Target::of(&[horse], offer).for_one()
            }
            "withdraw_transfer" | "decline_transfer" => Target::at(&[&self.offer()]),
            "accept_transfer" => {
                let take = json!({"barn_id": self.stable.buyers_barn, "password": password});
                Target::of(&[&self.offer()], take).for_one()
            }
            "invite" => {
                let new = |horse| json!(to_horse(horse, Role::Farrier));
                Target::of(&[], new(*horse)).or_absent(new(new_id()))
            }
            "accept_invitation" => {
                let code = code(
                    &self.stable.spare,
                    &to_horse(self.stable.spares_horse, Role::Farrier),
                );
                Target::of(&[], json!(code))
            }
            "withdraw_invitation" => {
                let new = to_horse(*horse, Role::Farrier);
                let made: Invitation = self.owner.post(path::INVITATIONS, &new).read();
                Target::at(&[&made.id])
            }
            "enter_licence" => Target::of(&[], licence()),
            "withdraw_licence" | "see_licence" => {
                let entered: Licence = self
                    .stable
                    .person("fgra")
                    .post(path::LICENCES, &licence())
                    .read();
                Target::at(&[&entered.id])
            }
            "recall_lot" => {
                assert_eq!(LOT, "QW-3381");
                Target::at(&[]).asking("?lot=QW-3381")
            }
            "open_session" => {
                let sign_in = json!({"email": self.owner.email, "password": self.owner.password});
                Target::of(&[], sign_in)
            }
            "refresh_session" => {
                let token = self.owner.elsewhere(false).session.refresh_token;
                Target::of(&[], json!({"refresh_token": token}))
            }
            "end_current_session" => Target {
                caller: who
                    .person
                    .as_ref()
                    .map(|person| (*person.elsewhere(false)).clone()),
                ..Target::at(&[]).for_one()
            },
            "end_session" => Target::at(&[&self.owner.elsewhere(false).session.session_id]),
            "pull_events" => {
                let wants = |horse: HorseId| json!({"wants": [{"horse_id": horse, "after": 0}]});
                Target::of(&[], wants(*horse)).or_absent(wants(new_id()))
            }
            other => panic!("say in calls.rs how {other} is called"),
        }
    }

    fn push(&self, who: &Who) -> Target {
        let author = who.person.as_ref().unwrap_or(self.stable.person("outs"));
        let pen = Pen::of(author, who.role);
        let events = |horse| json!({"events": [pen.weight(horse, 505.0).recorded_at(self.server.now()).sign()]});
        Target::of(&[], events(self.stable.horse))
            .or_absent(events(new_id()))
            .for_one()
    }

    fn calendar(&self) -> (Calendar, String) {
        let made: Calendar = self.owner.post(path::CALENDARS, &json!({})).read();
        let address = made.address.clone().expect("the address");
        let secret = address
            .rsplit('/')
            .next()
            .and_then(|name| name.strip_suffix(".ics"));
        (made, secret.expect("a secret").to_owned())
    }

    /// A webhook of the owner's, put into the store: this server's operator has allowed no address.
    fn webhook(&self) -> WebhookId {
        let row = WebhookRow {
            id: new_id(),
            account_id: self.owner.account(),
            url: "https://hooks.example/in".to_owned(),
            seed: vec![7; 16],
            seed_before: None,
            created_at: self.server.now().naive_utc(),
            rotated_at: None,
            ended_at: None,
            ended_why: None,
        };
        let id = row.id;
        let added = self
            .server
            .state()
            .store
            .write(move |db| webhooks::add(db, row));
        added.unwrap_or_else(|error: StoreError| panic!("{error}"));
        id
    }

    fn grant(&self) -> Grant {
        grant(
            self.owner,
            &self.stable.spare,
            &to_horse(self.stable.horse, Role::Farrier),
        )
    }

    fn share(&self) -> Share {
        self.owner
            .post(&path::shares(self.stable.horse), &json!({"days": 3}))
            .read()
    }

    /// What somebody recorded before their grant was ended, and brings now.
    fn held(&self) -> String {
        let author = self.stable.person("srev");
        let then = self.server.now() - chrono::TimeDelta::seconds(150);
        let event = Pen::of(author, Role::BarnStaff)
            .weight(self.stable.horse, 505.0)
            .recorded_at(then);
        assert_eq!(push_one(author, &event.sign()), Outcome::Held);
        event.id().to_string()
    }

    /// A horse of the owner's that is offered to the buyer.
    fn offer(&self) -> TransferId {
        let horse = paddock::horse(self.owner, self.stable.barn).id;
        let offer =
            json!({"to_email": self.stable.person("buyr").email, "password": self.owner.password});
        self.owner
            .post(&path::horse_transfers(horse), &offer)
            .read::<Transfer>()
            .id
    }

    fn withdraw_offers(&self) {
        let page: Value = self.owner.get(path::TRANSFERS).read();
        for offer in page["items"].as_array().expect("transfers") {
            let ours = offer["horse_id"] == json!(self.stable.horse) && offer["state"] == "offered";
            if ours {
                let id = offer["id"].as_str().expect("an id");
                assert_eq!(
                    self.owner
                        .delete(&format!("{}/{id}", path::TRANSFERS))
                        .status,
                    204
                );
            }
        }
    }
}

/// The address of whoever forgot their password, and the code that the operator tells them.
pub(super) fn forgotten(server: &TestServer, stable: &Stable) -> (String, String) {
    let email = stable.forgetful.email.clone();
    let (_, code) = operate::offer_reset(&server.state(), &email).expect("a code");
    (email, code)
}

fn licence() -> Value {
    json!({"role": "farrier", "number": Uuid::now_v7(), "jurisdiction": "gb"})
}
