//! Whoever talks to a test's server, and what the server answers.

use std::fmt;
use std::sync::OnceLock;

use reqwest::Method;
use reqwest::blocking::{Client, RequestBuilder};
use reqwest::header::{CONTENT_TYPE, HeaderMap};
use serde::Serialize;
use serde::de::DeserializeOwned;
use whorl_contract::problem::{MEDIA_TYPE, Problem};

/// Talks to a server, signed in or not. It follows no redirect and repeats nothing.
#[derive(Clone)]
pub struct Caller {
    base: String,
    token: Option<String>,
}

impl Caller {
    /// Talks to the server at `base`; `token` goes into `Authorization: Bearer …`.
    #[must_use]
    pub fn new(base: String, token: Option<String>) -> Self {
        Self { base, token }
    }

    /// The same caller with another token.
    #[must_use]
    pub fn with_token(&self, token: &str) -> Self {
        Self::new(self.base.clone(), Some(token.to_owned()))
    }

    /// Reads.
    #[must_use]
    pub fn get(&self, path: &str) -> Answer {
        self.send(self.request(Method::GET, path))
    }

    /// Sends a body by POST.
    #[must_use]
    pub fn post(&self, path: &str, body: &impl Serialize) -> Answer {
        self.send(self.request(Method::POST, path).json(body))
    }

    /// Sends a body by PUT.
    #[must_use]
    pub fn put(&self, path: &str, body: &impl Serialize) -> Answer {
        self.send(self.request(Method::PUT, path).json(body))
    }

    /// Deletes.
    #[must_use]
    pub fn delete(&self, path: &str) -> Answer {
        self.send(self.request(Method::DELETE, path))
    }

    /// A request to be built by hand; send it with [`Caller::send`].
    pub fn request(&self, method: Method, path: &str) -> RequestBuilder {
        let request = client().request(method, format!("{}{path}", self.base));
        match &self.token {
            Some(token) => request.bearer_auth(token),
            None => request,
        }
    }

    /// Sends a request and takes the whole answer.
    ///
    /// # Panics
    ///
    /// If the server doesn't answer.
    #[must_use]
    pub fn send(&self, request: RequestBuilder) -> Answer {
        self.try_send(request).expect("an answer")
    }

    /// Sends a request to a server that may be gone before its answer has come whole.
    ///
    /// # Errors
    ///
    /// How the line broke.
    pub fn try_send(&self, request: RequestBuilder) -> Result<Answer, reqwest::Error> {
        let answer = request.send()?;
        Ok(Answer {
            status: answer.status().as_u16(),
            headers: answer.headers().clone(),
            body: answer.bytes()?.to_vec(),
        })
    }
}

/// One client for the whole process; it keeps no cookies.
fn client() -> &'static Client {
    static CLIENT: OnceLock<Client> = OnceLock::new();
    CLIENT.get_or_init(|| {
        // Another part of the process may have chosen it already.
        let _ = rustls::crypto::ring::default_provider().install_default();
        Client::builder()
            .redirect(reqwest::redirect::Policy::none())
            .no_proxy()
            .build()
            .expect("a client")
    })
}

/// What a server answered.
#[derive(Clone)]
pub struct Answer {
    /// The status.
    pub status: u16,
    /// The headers.
    pub headers: HeaderMap,
    /// The body's bytes.
    pub body: Vec<u8>,
}

impl Answer {
    /// A header, if it is there.
    #[must_use]
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.get(name).and_then(|value| value.to_str().ok())
    }

    /// The body as text.
    #[must_use]
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    /// What the body of a success says.
    ///
    /// # Panics
    ///
    /// If it was no success, or says something else.
    #[must_use]
    pub fn read<T: DeserializeOwned>(&self) -> T {
        assert!((200..300).contains(&self.status), "{self:?}");
        serde_json::from_slice(&self.body).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }

    /// The problem that a refusal carries.
    ///
    /// # Panics
    ///
    /// If it carries none.
    #[must_use]
    pub fn problem(&self) -> Problem {
        let media_type = self.header(CONTENT_TYPE.as_str());
        assert_eq!(media_type, Some(MEDIA_TYPE), "{self:?}");
        let problem: Problem =
            serde_json::from_slice(&self.body).unwrap_or_else(|error| panic!("{error}: {self:?}"));
        assert_eq!(problem.status, self.status, "{self:?}");
        problem
    }
}

impl fmt::Debug for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.status, self.text())
    }
}
