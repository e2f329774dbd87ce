//! Signatures that can be checked without this program: OpenSSH's SSHSIG (PROTOCOL.sshsig) by Ed25519 keys in OpenSSH's own files.
//!
//! `ssh-keygen -Y verify` checks what [`sign`] makes, [`verify`] checks what `ssh-keygen -Y sign` makes, and keys go both ways. A signature
//! is made for one namespace and holds in no other.

use std::fmt;

use ssh_key::{Algorithm, Error, HashAlg, LineEnding, SshSig, public};

use crate::fault::Fault;

mod key;
mod signers;
#[cfg(test)]
mod tests;

pub use key::{Key, LockedKey, SHORTEST_PASSPHRASE};
pub use signers::{Refusal, Signer, Signers, line_for};

/// Namespace of sign-offs of records. PROTOCOL.sshsig asks for names in the form of NAMESPACE@DOMAIN; the program's name stands for a domain.
pub const SIGNOFF: &str = "signoff@evenfilm";
/// Namespace of approvals of recipes and limits.
pub const APPROVAL: &str = "approval@evenfilm";

const BEGIN: &str = "-----BEGIN SSH SIGNATURE-----";
const END: &str = "-----END SSH SIGNATURE-----";
/// Characters in a line of armour, as ssh-keygen writes it; PROTOCOL.sshsig leaves it open.
const LINE: usize = 70;

/// An Ed25519 key that everybody may know, with its comment.
#[derive(Clone, Debug)]
pub struct PublicKey(ssh_key::PublicKey);

impl PublicKey {
    /// Reads one line of text: `ssh-ed25519`, Base64, and perhaps a comment.
    ///
    /// # Errors
    /// It is no public key, or one of another type.
    pub fn parse(text: &str) -> Result<Self, Fault> {
        let text = text.trim();
        let kind = text.split_ascii_whitespace().next().unwrap_or_default();
        match ssh_key::PublicKey::from_openssh(text) {
            Ok(key) if key.algorithm() == Algorithm::Ed25519 => Ok(Self(key)),
            Ok(key) => Err(other_type(key.algorithm().as_str())),
            Err(_) if is_key_type(kind) && kind != Algorithm::Ed25519.as_str() => Err(other_type(kind)),
            Err(_) => Err(Fault::input("this is no public key", "copy the whole line of the file that ends in .pub")),
        }
    }

    /// One line without its end: type, Base64 and, where there is one, the comment.
    pub fn text(&self) -> String {
        // Ed25519 keys can always be written.
        self.0.to_openssh().unwrap_or_default()
    }

    /// SHA-256 of the key as `ssh-keygen -l` prints it: `SHA256:` and 43 characters of Base64.
    pub fn fingerprint(&self) -> String {
        self.0.fingerprint(HashAlg::Sha256).to_string()
    }

    /// The same key without its comment.
    #[must_use]
    pub fn without_comment(&self) -> Self {
        Self(self.0.key_data().clone().into())
    }

    /// The comment; empty where there is none.
    pub fn comment(&self) -> &str {
        self.0.comment()
    }
}

/// The same key, whatever the comment says.
impl PartialEq for PublicKey {
    fn eq(&self, other: &Self) -> bool {
        self.0.key_data() == other.0.key_data()
    }
}

impl Eq for PublicKey {}

/// Whether a word is the name of a type of key, as OpenSSH writes it.
fn is_key_type(word: &str) -> bool {
    ["ssh-", "ecdsa-", "sk-"].iter().any(|begin| word.starts_with(begin))
}

fn other_type(found: &str) -> Fault {
    let message = format!("the key is of the type {found}; this version signs with ssh-ed25519 keys and reads no others");
    Fault::input(message, "make one: evenfilm key new FILE, or ssh-keygen -t ed25519 -f FILE")
}

/// Why a signature is none of these bytes in this namespace.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unverified {
    /// The text is no SSHSIG signature, or not written as one.
    Unreadable,
    /// It was made by a key of this other type.
    OtherType(String),
    /// It was made for this other purpose.
    OtherNamespace(String),
    /// Its key did not sign these bytes.
    OtherBytes,
}

impl fmt::Display for Unverified {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable => f.write_str("the text is no signature in OpenSSH's form, or was changed"),
            Self::OtherType(found) => write!(f, "the signature was made by a key of the type {found}, and only ssh-ed25519 is read"),
            Self::OtherNamespace(found) => write!(f, "the signature was made for another purpose ({found})"),
            Self::OtherBytes => f.write_str("the signature is not of these bytes: they or the signature were changed"),
        }
    }
}

/// Signs bytes for one namespace: an armoured SSHSIG over their SHA-512, which ends with a line end. The same key, namespace and bytes give
/// the same text.
///
/// # Errors
/// The library refuses to sign, which an Ed25519 key never does.
pub fn sign(key: &Key, namespace: &str, bytes: &[u8]) -> Result<String, Fault> {
    let signed = key.inner().sign(namespace, HashAlg::Sha512, bytes).and_then(|signature| signature.to_pem(LineEnding::LF));
    signed.map(ended).map_err(|e| Fault::work(format!("cannot sign: {e}"), "make a new key and sign with it"))
}

/// The key that signed these bytes for this namespace. Whose key it is, the caller must know ([`Signers`]).
///
/// # Errors
/// The text is no such signature; any bit that differs in bytes, signature or namespace makes it none.
pub fn verify(armored: &str, namespace: &str, bytes: &[u8]) -> Result<PublicKey, Unverified> {
    let text = rewrapped(armored).ok_or(Unverified::Unreadable)?;
    let signature = SshSig::from_pem(&text).map_err(|e| match e {
        Error::AlgorithmUnsupported { algorithm } => Unverified::OtherType(algorithm.as_str().to_owned()),
        _ => Unverified::Unreadable,
    })?;
    let key: &public::KeyData = signature.public_key();
    if key.algorithm() != Algorithm::Ed25519 || signature.algorithm() != Algorithm::Ed25519 {
        return Err(Unverified::OtherType(key.algorithm().as_str().to_owned()));
    }
    // What is not signed, such as the version, may not be written in two ways.
    let is_as_written = signature.to_pem(LineEnding::LF).is_ok_and(|again| ended(again) == text);
    if signature.version() != SshSig::VERSION || !is_as_written {
        return Err(Unverified::Unreadable);
    }
    if signature.namespace() != namespace {
        return Err(Unverified::OtherNamespace(signature.namespace().to_owned()));
    }
    let key = ssh_key::PublicKey::from(key.clone());
    key.verify(namespace, bytes, &signature).map_err(|_| Unverified::OtherBytes)?;
    Ok(PublicKey(key))
}

/// Armour with lines as ssh-keygen breaks them; `None` where header, footer or lines are not those of a signature.
fn rewrapped(armored: &str) -> Option<String> {
    let mut lines = armored.trim_end_matches(['\r', '\n']).lines();
    let is_footer_last = lines.next_back() == Some(END);
    if lines.next() != Some(BEGIN) || !is_footer_last {
        return None;
    }
    let code: String = lines.collect();
    if !code.bytes().all(|c| c.is_ascii_alphanumeric() || b"+/=".contains(&c)) {
        return None;
    }
    let mut text = format!("{BEGIN}\n");
    for at in (0..code.len()).step_by(LINE) {
        text.push_str(&code[at..code.len().min(at + LINE)]);
        text.push('\n');
    }
    text.push_str(END);
    Some(ended(text))
}

/// A key of known bytes, for tests.
#[cfg(test)]
pub(crate) fn tests_key(pair: ssh_key::private::Ed25519Keypair) -> Key {
    Key::of_pair(pair, "test").unwrap()
}

/// A text with one line end at its end.
fn ended(mut text: String) -> String {
    if !text.ends_with('\n') {
        text.push('\n');
    }
    text
}
