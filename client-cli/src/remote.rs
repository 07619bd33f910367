//! Talking with the server over networks that lie, stall and break.
//!
//! An answer counts only if it is what a Whorl server would say: JSON (or a problem document) that reads as what was
//! asked for. A sign-in page of a guest network, a proxy's error page and a cut connection are all "no connection".

mod answer;
mod body;
mod refresh;
mod retry;

use std::time::Duration;

use reqwest::Method;
use reqwest::blocking::Client;
use reqwest::header::{ACCEPT, AUTHORIZATION, IF_NONE_MATCH};
use serde::Serialize;
use serde::de::DeserializeOwned;
use whorl_contract::key::SecretKey;
use whorl_contract::page::Page;

use self::answer::{Answer, Expected};
use self::body::Body;
pub(crate) use self::refresh::tokens;
pub(crate) use self::retry::pause;
use crate::failure::Failure;
use crate::home::{Home, Lock, Membership};
use crate::world::Machine;

/// Long enough for a page of events on a thin line, short enough to notice a dead one.
const PATIENCE: Duration = Duration::from_mins(1);
/// A photo takes longer.
const PATIENCE_FOR_FILES: Duration = Duration::from_mins(5);
/// Finding the server at all.
const PATIENCE_TO_CONNECT: Duration = Duration::from_secs(10);

/// The server, and who asks.
pub struct Remote<'a> {
    client: Client,
    server: String,
    machine: Machine<'a>,
    home: Home,
    key: Option<SecretKey>,
    membership: Option<Membership>,
    _lock: Lock,
}

/// One request.
struct Request<'r> {
    method: Method,
    path: &'r str,
    body: Option<Body<'r>>,
    tag: Option<&'r str>,
    again: Again,
    signed_in: bool,
    patience: Duration,
    expected: Expected,
}

/// When a request is sent once more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Again {
    /// Never: twice would be more than once.
    Never,
    /// Where the server asks to come back later. If the line breaks, the caller asks for less.
    IfBusy,
    /// Whenever that can help.
    Always,
}

impl<'r> Request<'r> {
    fn new(method: Method, path: &'r str) -> Self {
        let again = if method == Method::POST {
            Again::Never
        } else {
            Again::Always
        };
        Self {
            method,
            path,
            body: None,
            tag: None,
            again,
            signed_in: true,
            patience: PATIENCE,
            expected: Expected::Json,
        }
    }

    fn json(mut self, body: &impl Serialize) -> Result<Self, Failure> {
        self.body = Some(Body::json(body)?);
        Ok(self)
    }

    fn repeatable(mut self) -> Self {
        self.again = Again::Always;
        self
    }

    fn anonymous(mut self) -> Self {
        self.signed_in = false;
        self
    }
}

impl<'a> Remote<'a> {
    /// The server at `server`, for somebody who isn't signed in yet.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if another command is talking with the server.
    pub fn stranger(home: &Home, machine: Machine<'a>, server: String) -> Result<Self, Failure> {
        Self::new(home, machine, server, None)
    }

    /// The server that this folder belongs to.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] before `join`; [`Failure::Device`] if another command is talking with the server.
    pub fn member(home: &Home, machine: Machine<'a>) -> Result<Self, Failure> {
        let server = home.member()?.server;
        let mut remote = Self::new(home, machine, server, None)?;
        // Read under the lock: the command before us may have renewed the tokens.
        remote.membership = home.membership()?;
        remote.key = home.existing_key()?;
        Ok(remote)
    }

    fn new(
        home: &Home,
        machine: Machine<'a>,
        server: String,
        membership: Option<Membership>,
    ) -> Result<Self, Failure> {
        let lock = home.lock(machine)?;
        // A second call in one process finds the first one's provider, which is the same.
        let _ = rustls::crypto::ring::default_provider().install_default();
        let client = Client::builder()
            .user_agent(concat!("whorl/", env!("CARGO_PKG_VERSION")))
            .connect_timeout(PATIENCE_TO_CONNECT)
            .redirect(reqwest::redirect::Policy::none())
            .build()
            .map_err(|error| Failure::Device(format!("no way to the network: {error}")))?;
        Ok(Self {
            client,
            server,
            machine,
            home: home.clone(),
            key: None,
            membership,
            _lock: lock,
        })
    }

    /// Goes on as the member that just signed in.
    pub fn sign_in(&mut self, membership: Membership, key: SecretKey) {
        self.membership = Some(membership);
        self.key = Some(key);
    }

    /// Who asks.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] before signing in.
    pub fn membership(&self) -> Result<&Membership, Failure> {
        self.membership
            .as_ref()
            .ok_or_else(|| Failure::input("you are signed out; run `whorl join` to sign in"))
    }

    /// Reads.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] or [`Failure::Offline`].
    pub fn get<T: DeserializeOwned>(&mut self, path: &str) -> Result<T, Failure> {
        self.send(&Request::new(Method::GET, path))?.read()
    }

    /// Reads what anyone may.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] or [`Failure::Offline`].
    pub fn get_anonymously<T: DeserializeOwned>(&mut self, path: &str) -> Result<T, Failure> {
        self.send(&Request::new(Method::GET, path).anonymous())?
            .read()
    }

    /// Reads, if it has changed since `tag`. Answers it and its new tag.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] or [`Failure::Offline`].
    pub fn get_if_changed<T: DeserializeOwned>(
        &mut self,
        path: &str,
        tag: Option<&str>,
    ) -> Result<Option<(T, Option<String>)>, Failure> {
        let mut request = Request::new(Method::GET, path);
        request.tag = tag;
        let answer = self.send(&request)?;
        if answer.is_unchanged() {
            return Ok(None);
        }
        let tag = answer.tag();
        Ok(Some((answer.read()?, tag)))
    }

    /// Reads a list to its end; `path` may carry a query.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] or [`Failure::Offline`].
    pub fn list<T: DeserializeOwned>(&mut self, path: &str) -> Result<Vec<T>, Failure> {
        let joint = if path.contains('?') { '&' } else { '?' };
        let mut page: Page<T> = self.get(path)?;
        let mut items = Vec::new();
        loop {
            let news = !page.items.is_empty();
            items.append(&mut page.items);
            match page.next_cursor.take() {
                Some(cursor) if news => {
                    let cursor: String =
                        reqwest::Url::parse_with_params("whorl:", [("cursor", &cursor)])
                            .ok()
                            .and_then(|url| url.query().map(str::to_owned))
                            .unwrap_or_default();
                    page = self.get(&format!("{path}{joint}{cursor}"))?;
                }
                _ => return Ok(items),
            }
        }
    }

    /// Sends something that must not happen twice: it is tried once.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] or [`Failure::Offline`].
    pub fn post<T: DeserializeOwned>(
        &mut self,
        path: &str,
        body: &impl Serialize,
    ) -> Result<T, Failure> {
        self.send(&Request::new(Method::POST, path).json(body)?)?
            .read()
    }

    /// Sends something that does no more twice than once, with patience for a bad line.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] or [`Failure::Offline`].
    pub fn post_repeatable<T: DeserializeOwned>(
        &mut self,
        path: &str,
        body: &impl Serialize,
    ) -> Result<T, Failure> {
        self.send(&Request::new(Method::POST, path).json(body)?.repeatable())?
            .read()
    }

    /// Sends one of many portions. If the line breaks, the next one had better be smaller, so this one is not repeated.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] or [`Failure::Offline`].
    pub fn post_portion<T: DeserializeOwned>(
        &mut self,
        path: &str,
        body: &impl Serialize,
    ) -> Result<T, Failure> {
        let mut request = Request::new(Method::POST, path).json(body)?;
        request.again = Again::IfBusy;
        self.send(&request)?.read()
    }

    /// Sends what needs no session (opening an account, signing in); tried once.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] or [`Failure::Offline`].
    pub fn post_anonymously<T: DeserializeOwned>(
        &mut self,
        path: &str,
        body: &impl Serialize,
    ) -> Result<T, Failure> {
        self.send(&Request::new(Method::POST, path).json(body)?.anonymous())?
            .read()
    }

    /// Changes.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] or [`Failure::Offline`].
    pub fn put<T: DeserializeOwned>(
        &mut self,
        path: &str,
        body: &impl Serialize,
    ) -> Result<T, Failure> {
        self.send(&Request::new(Method::PUT, path).json(body)?)?
            .read()
    }

    /// Changes something whose new state is no secret to tell: the answer is not read.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] or [`Failure::Offline`].
    pub fn put_quietly(&mut self, path: &str, body: &impl Serialize) -> Result<(), Failure> {
        self.send(&Request::new(Method::PUT, path).json(body)?)
            .map(drop)
    }

    /// Ends something. Whatever the server says of it afterwards is not read.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] or [`Failure::Offline`].
    pub fn delete(&mut self, path: &str) -> Result<(), Failure> {
        self.send(&Request::new(Method::DELETE, path)).map(drop)
    }

    /// Sends a file; the server knows it by its hash, so twice is once.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] or [`Failure::Offline`].
    pub fn upload<T: DeserializeOwned>(
        &mut self,
        path: &str,
        media_type: &str,
        bytes: Vec<u8>,
    ) -> Result<T, Failure> {
        let mut request = Request::new(Method::POST, path).repeatable();
        request.patience = PATIENCE_FOR_FILES;
        request.body = Some(Body::file(media_type, bytes));
        self.send(&request)?.read()
    }

    /// Has a document made and answers its bytes as they came. Having it made twice is no harm.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] or [`Failure::Offline`].
    pub fn post_for_file(&mut self, path: &str, body: &impl Serialize) -> Result<Vec<u8>, Failure> {
        let mut request = Request::new(Method::POST, path).json(body)?.repeatable();
        request.patience = PATIENCE_FOR_FILES;
        Ok(self.send(&request)?.bytes())
    }

    /// Reads a JSON document as it comes, to be kept as a file.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] or [`Failure::Offline`].
    pub fn get_for_file(&mut self, path: &str) -> Result<Vec<u8>, Failure> {
        let mut request = Request::new(Method::GET, path);
        request.patience = PATIENCE_FOR_FILES;
        Ok(self.send(&request)?.bytes())
    }

    /// Reads a file.
    ///
    /// # Errors
    ///
    /// [`Failure::Refused`] or [`Failure::Offline`].
    pub fn download(&mut self, path: &str) -> Result<Vec<u8>, Failure> {
        let mut request = Request::new(Method::GET, path);
        request.patience = PATIENCE_FOR_FILES;
        request.expected = Expected::File;
        Ok(self.send(&request)?.bytes())
    }

    /// Sends with a fresh access token; renews it once if the server doesn't take it.
    fn send(&mut self, request: &Request<'_>) -> Result<Answer, Failure> {
        if request.signed_in && self.access_is_stale() {
            self.refresh()?;
        }
        let answer = self.exchange(request)?;
        if request.signed_in && answer.wants_sign_in() {
            // It was not let in, so nothing has happened yet and it may be sent once more.
            self.refresh()?;
            return self.exchange(request)?.success();
        }
        answer.success()
    }

    /// Sends once.
    fn transmit(&self, request: &Request<'_>) -> Result<Answer, Failure> {
        let url = format!("{}{}", self.server, request.path);
        let mut builder = self
            .client
            .request(request.method.clone(), url)
            .timeout(request.patience)
            .header(
                ACCEPT,
                "application/json, application/problem+json, */*;q=0.5",
            );
        if request.signed_in {
            let token = self.access_token()?;
            builder = builder.header(AUTHORIZATION, format!("Bearer {token}"));
        }
        if let Some(tag) = request.tag {
            builder = builder.header(IF_NONE_MATCH, tag);
        }
        if let Some(body) = &request.body {
            builder = body.fill(builder);
        }
        Answer::take(builder.send(), &self.server, request.expected)
    }
}
