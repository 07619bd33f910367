//! A browser without scripts: it keeps cookies, reads pages and sends their forms.

use std::collections::BTreeMap;
use std::sync::Mutex;

use reqwest::Method;
use reqwest::header::{COOKIE, SET_COOKIE};

use crate::{Answer, Caller, Person, TestServer};

/// A browser. It follows no redirect by itself.
pub struct Browser {
    caller: Caller,
    origin: String,
    cookies: Mutex<BTreeMap<String, String>>,
}

impl Browser {
    /// A browser that was never here.
    #[must_use]
    pub fn new(server: &TestServer) -> Self {
        Self {
            caller: server.anonymous(),
            origin: server.url(),
            cookies: Mutex::default(),
        }
    }

    /// A browser in which somebody has signed in.
    ///
    /// # Panics
    ///
    /// If they can't.
    #[must_use]
    pub fn of(server: &TestServer, person: &Person) -> Self {
        let browser = Self::new(server);
        let answer = browser.sign_in(&person.email, &person.password);
        assert_eq!(answer.status, 303, "{}", answer.text());
        browser
    }

    /// Fills in the form for signing in.
    pub fn sign_in(&self, email: &str, password: &str) -> Answer {
        let token = self.get("/sign-in").form_token();
        let fields = [
            ("form_token", token.as_str()),
            ("email", email),
            ("password", password),
        ];
        self.post("/sign-in", &fields)
    }

    /// Reads a page.
    pub fn get(&self, path: &str) -> Answer {
        self.send(Method::GET, path, &[], None)
    }

    /// Sends a form as the page's own form does.
    pub fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let origin = self.origin.clone();
        self.send(Method::POST, path, &[("origin", &origin)], Some(fields))
    }

    /// Sends a form of a page: its token first.
    pub fn submit(&self, page: &str, path: &str, fields: &[(&str, &str)]) -> Answer {
        let token = self.get(page).form_token();
        let mut all = vec![("form_token", token.as_str())];
        all.extend(fields);
        self.post(path, &all)
    }

    /// Sends anything, with the cookies that it has, and keeps those that come.
    ///
    /// # Panics
    ///
    /// If another use of the browser panicked.
    pub fn send(
        &self,
        method: Method,
        path: &str,
        headers: &[(&str, &str)],
        fields: Option<&[(&str, &str)]>,
    ) -> Answer {
        let mut request = self.caller.request(method, path).header(COOKIE, self.jar());
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        if let Some(fields) = fields {
            let pairs = fields
                .iter()
                .map(|(name, value)| format!("{}={}", encoded(name), encoded(value)));
            let body = pairs.collect::<Vec<_>>().join("&");
            request = request
                .header("content-type", "application/x-www-form-urlencoded")
                .body(body);
        }
        let answer = self.caller.send(request);
        let mut cookies = self.cookies.lock().expect("the cookies");
        for set in answer.headers.get_all(SET_COOKIE) {
            let pair = set.to_str().expect("text").split(';').next();
            let (name, value) = pair
                .and_then(|pair| pair.split_once('='))
                .expect("a cookie");
            if value.is_empty() {
                cookies.remove(name);
            } else {
                cookies.insert(name.to_owned(), value.to_owned());
            }
        }
        answer
    }

    /// The cookies that it sends.
    ///
    /// # Panics
    ///
    /// If another use of the browser panicked.
    pub fn jar(&self) -> String {
        let cookies = self.cookies.lock().expect("the cookies");
        let pairs = cookies
            .iter()
            .map(|(name, value)| format!("{name}={value}"));
        pairs.collect::<Vec<_>>().join("; ")
    }

    /// Takes a cookie from elsewhere.
    ///
    /// # Panics
    ///
    /// If another use of the browser panicked.
    pub fn keep(&self, name: &str, value: &str) {
        let mut cookies = self.cookies.lock().expect("the cookies");
        cookies.insert(name.to_owned(), value.to_owned());
    }
}

fn encoded(text: &str) -> String {
    text.bytes()
        .map(|byte| {
            if byte.is_ascii_alphanumeric() {
                char::from(byte).to_string()
            } else {
                format!("%{byte:02X}")
            }
        })
        .collect()
}

impl Answer {
    /// The token of the first form on a page.
    ///
    /// # Panics
    ///
    /// If it has no form.
    #[must_use]
    pub fn form_token(&self) -> String {
        let text = self.text();
        let (_, rest) = text
            .split_once("name=\"form_token\" value=\"")
            .unwrap_or_else(|| panic!("no form on {} {text}", self.status));
        rest.split('"').next().expect("a value").to_owned()
    }
}
