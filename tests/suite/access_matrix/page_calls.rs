//! How each page is asked for, and how each form is sent.

use std::collections::HashMap;

use uuid::Uuid;
use whorl_care::kind::Role;
use whorl_contract::path;
use whorl_contract::share::Share;
use whorl_tests::paddock::{grant, to_horse};
use whorl_tests::{Answer, Browser, Person, TestServer};

use super::Heard;
use super::calls::forgotten;
use super::people::{Stable, Who};

/// Asks for pages; keeps everybody's browser.
pub(super) struct PageCalls<'a> {
    server: &'a TestServer,
    stable: &'a Stable,
    owner: &'a Person,
    browsers: HashMap<String, Browser>,
    link: String,
}

impl<'a> PageCalls<'a> {
    /// Signs everybody in.
    pub(super) fn new(server: &'a TestServer, stable: &'a Stable) -> Self {
        let owner = stable.person("ownr");
        let browsers = stable
            .people
            .iter()
            .map(|who| (who.name.clone(), browser_of(server, who)));
        let share = serde_json::json!({"days": 3});
        let share: Share = owner.post(&path::shares(stable.horse), &share).read();
        let link = share.url.expect("the link's address");
        Self {
            server,
            stable,
            owner,
            browsers: browsers.collect(),
            link: link.rsplit('/').next().expect("a secret").to_owned(),
        }
    }

    /// Asks for a page or sends its form, and the same for something that is not there.
    pub(super) fn make(&mut self, method: &str, template: &str, who: &Who) -> Heard {
        let place = |horse: &str, barn: &str, link: &str| {
            let filled = template.replace("{horse}", horse).replace("{barn}", barn);
            let query = match template {
                "/visits" => format!("?capacity=4&work=weight&barn={barn}"),
                _ if template.ends_with("/recall") => "?lot=QW-3381".to_owned(),
                _ => String::new(),
            };
            filled.replace("{token}", link) + &query
        };
        let (horse, barn) = (self.stable.horse.to_string(), self.stable.barn.to_string());
        let here = place(&horse, &barn, &self.link);
        let nowhere = Uuid::now_v7().to_string();
        let nowhere = place(&nowhere, &nowhere, "u8qZ1xN0suchSecretU8qZ1xN0suchS3");
        if template == "/sign-in" && method == "post" {
            // Nobody signs in twice in one browser.
            self.browsers
                .insert(who.name.clone(), Browser::new(self.server));
        }
        let fields = self.fields(method, template, who);
        let browser = &self.browsers[&who.name];
        let answer = ask(browser, method, &here, fields.as_deref());
        let absent = (answer.status >= 402 && here != nowhere)
            .then(|| ask(browser, method, &nowhere, fields.as_deref()));
        if template.starts_with("/sign-") && method == "post" {
            // Whoever signed out is signed in again.
            self.browsers
                .insert(who.name.clone(), browser_of(self.server, who));
        }
        Heard { answer, absent }
    }

    /// What somebody fills in.
    fn fields(
        &self,
        method: &str,
        template: &str,
        who: &Who,
    ) -> Option<Vec<(&'static str, String)>> {
        let own = match template {
            _ if method == "get" => return None,
            "/sign-in" => {
                let known = who
                    .person
                    .as_ref()
                    .map(|who| (who.email.as_str(), who.password.as_str()));
                let (email, password) =
                    known.unwrap_or((self.owner.email.as_str(), "tide over the grey flats"));
                vec![
                    ("email", email.to_owned()),
                    ("password", password.to_owned()),
                ]
            }
            "/reset" => {
                let (email, code) = forgotten(self.server, self.stable);
                vec![
                    ("email", email),
                    ("code", code),
                    ("new", "samphire grows by the slipway".to_owned()),
                ]
            }
            "/sign-out" => Vec::new(),
            "/horses/{horse}/grants" => {
                let farrier = to_horse(self.stable.horse, Role::Farrier);
                let fresh = grant(self.owner, &self.stable.spare, &farrier);
                vec![("grant", fresh.id.to_string()), ("for", "all".to_owned())]
            }
            "/notices" => vec![("until", "2027-03-04T00:00:00Z".to_owned())],
            "/horses/{horse}/shares" => vec![("days", "3".to_owned())],
            other => panic!("say in page_calls.rs what is filled in at {other}"),
        };
        // Everybody has a form of their own on some page that they may see.
        let page = match template {
            "/reset" => "/reset",
            "/sign-in" => "/sign-in",
            _ if who.person.is_none() => "/sign-in",
            _ => "/",
        };
        let browser = &self.browsers[&who.name];
        let token = browser.get(page);
        let token = if token.status == 200 {
            token.form_token()
        } else {
            String::new()
        };
        Some([vec![("form_token", token)], own].concat())
    }
}

fn browser_of(server: &TestServer, who: &Who) -> Browser {
    who.person.as_ref().map_or_else(
        || Browser::new(server),
        |person| Browser::of(server, person),
    )
}

fn ask(browser: &Browser, method: &str, path: &str, fields: Option<&[(&str, String)]>) -> Answer {
    match fields {
        None => browser.get(path),
        Some(fields) => {
            let fields: Vec<(&str, &str)> = fields
                .iter()
                .map(|(name, value)| (*name, value.as_str()))
                .collect();
            assert_eq!(method, "post");
            browser.post(path, &fields)
        }
    }
}
