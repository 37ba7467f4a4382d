//! Keys that seal a job: Ed25519 (RFC 8032), kept as PKCS#8 and public as SubjectPublicKeyInfo (RFC 8410) in PEM, which
//! other programs read too. With a passphrase the private key is encrypted by PBES2 with scrypt and AES-256-CBC.
//!
//! Before the PEM block stand lines for people, `name:` among them; programs that read PEM skip them.
//!
//! Not here: what is signed (the seal), and where passphrases come from.
use crate::{
    digest::{Digest, decode_hex_into},
    disk,
    error::{Kind, Problem, quoted},
    private_file,
};
use base16ct::lower::encode_string;
use ed25519_dalek::{
    Signer as _, VerifyingKey,
    pkcs8::{
        DecodePrivateKey as _, DecodePublicKey as _, EncodePrivateKey as _, KeypairBytes, spki::EncodePublicKey as _,
    },
};
use pkcs8::{EncryptedPrivateKeyInfoRef, LineEnding, PrivateKeyInfoRef, der::SecretDocument, der::pem::PemLabel as _};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};
use std::{
    fmt, fs,
    io::{self, Read as _, Write as _},
    path::{Path, PathBuf},
};
use zeroize::Zeroizing;

/// Longest key file that is read, bytes.
const FILE_LIMIT: u64 = 16 * 1024;
/// Longest name, characters.
const NAME_LIMIT: usize = 80;
/// So much of a file is looked through for a private key, bytes.
pub(crate) const LOOKED_AT: u64 = 1024 * 1024;

/// Whether these bytes hold a private key: a PEM block of any kind, in whatever encoding of text, or an Ed25519 key by itself
/// (PKCS #8).
pub(crate) fn holds_private(bytes: &[u8]) -> bool {
    let holds = |bytes: &[u8], words: &[u8]| bytes.windows(words.len()).any(|w| w == words);
    let narrow: Vec<u8> = bytes.iter().copied().filter(|b| *b != 0).collect();
    let pkcs8: &[u8] =
        &[0x30, 0x2e, 0x02, 0x01, 0x00, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x04, 0x22, 0x04, 0x20];
    holds(&narrow, b"PRIVATE KEY-----") || holds(&narrow, b"PRIVATE KEY BLOCK-----") || bytes.starts_with(pkcs8)
}
/// Name of the key that demonstrations are sealed with.
pub const DEMONSTRATION: &str = "demonstration key, which proves nothing";

/// A public key: 32 bytes, written as 64 hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct PublicKey(VerifyingKey);

/// A signature: 64 bytes, written as 128 hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Signature(pub [u8; 64]);

/// A private key and whose it is.
pub struct SigningKey {
    key: ed25519_dalek::SigningKey,
    name: String,
}

/// A public key as it is handed out: with a name that nobody vouches for but whoever handed it out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NamedKey {
    /// The key.
    pub key: PublicKey,
    /// Whose it is said to be.
    pub name: String,
}

impl SigningKey {
    /// A new key from the system's random numbers.
    ///
    /// # Errors
    /// [`Kind::Range`] for a name that is empty, too long or has control characters; [`Kind::System`] if the system has no
    /// random numbers.
    pub fn generate(name: &str) -> Result<Self, Problem> {
        let name = checked_name(name)?;
        let mut seed = Zeroizing::new([0; 32]);
        getrandom::fill(&mut *seed).map_err(|e| {
            let cause = format!("the system gives no random numbers: {e}");
            Problem::with_file(Kind::System, "key", cause, "make the key on another machine")
        })?;
        Ok(Self { key: ed25519_dalek::SigningKey::from_bytes(&seed), name })
    }
    /// The key of demonstrations. Its seed is made of the words of [`DEMONSTRATION`], so everybody has it: what it signs is
    /// not thereby shown to come from anyone.
    pub fn demonstration() -> Self {
        let seed = Digest::of(DEMONSTRATION.as_bytes());
        Self { key: ed25519_dalek::SigningKey::from_bytes(&seed.0), name: DEMONSTRATION.into() }
    }
    /// Whose it is.
    pub fn name(&self) -> &str {
        &self.name
    }
    /// The public half.
    pub fn public(&self) -> PublicKey {
        PublicKey(self.key.verifying_key())
    }
    /// The public half with the name.
    pub fn named(&self) -> NamedKey {
        NamedKey { key: self.public(), name: self.name.clone() }
    }
    /// Signs these bytes.
    pub fn sign(&self, bytes: &[u8]) -> Signature {
        Signature(self.key.sign(bytes).to_bytes())
    }
    /// Writes the key to a new file that only its owner may read; encrypted if there is a passphrase. When this returns, it
    /// is on the disk.
    ///
    /// # Errors
    /// [`Kind::Exists`] if there is such a file: a key is never overwritten. What the system reports.
    pub fn write(&self, path: &Path, passphrase: Option<&str>) -> Result<(), Problem> {
        let internal = |e: pkcs8::Error| internal(path, &e);
        let plain =
            KeypairBytes { secret_key: self.key.to_bytes(), public_key: None }.to_pkcs8_der().map_err(internal)?;
        let pem = match passphrase {
            None => plain.to_pem(PrivateKeyInfoRef::PEM_LABEL, LineEnding::LF),
            Some(passphrase) => PrivateKeyInfoRef::try_from(plain.as_bytes())
                .and_then(|info| info.encrypt_with_rng(&mut getrandom::SysRng, passphrase))
                .map_err(internal)?
                .to_pem(EncryptedPrivateKeyInfoRef::PEM_LABEL, LineEnding::LF),
        };
        let pem = pem.map_err(|e| internal(e.into()))?;
        let words = format!("plumeline private key: keep it to yourself\nname: {}\n\n", self.name);
        let text = Zeroizing::new(words + &pem);
        let mut file = private_file::create_new(path).map_err(|e| not_written(path, &e))?;
        file.write_all(text.as_bytes())
            .and_then(|()| file.sync_all())
            .and_then(|()| disk::Disk::sync_dir(&disk::OsDisk, disk::parent(path)))
            .map_err(|e| Problem::from_io(path, "write the key", &e))
    }
    /// Reads a key file. `passphrase` is asked for one if the key is encrypted.
    ///
    /// # Errors
    /// [`Kind::Denied`] if others than the owner may read the file, or for a wrong passphrase; [`Kind::Syntax`] if it holds
    /// no such key; what `passphrase` and the system report.
    pub fn read(path: &Path, passphrase: impl FnOnce() -> Result<Zeroizing<String>, Problem>) -> Result<Self, Problem> {
        let shown = path.display().to_string();
        let (file, text) = read_text(path)?;
        let told = |e: io::Error| Problem::from_io(path, "read the key", &e);
        if let Some(mode) = private_file::open_to_others(&file).map_err(told)? {
            let cause = format!("others than its owner may use this private key (mode {mode})");
            let remedy =
                format!("`chmod 600 {shown}`; if others may have read it, make a new key with `plumeline key new`");
            return Err(Problem::with_file(Kind::Denied, &shown, cause, remedy));
        }
        let (name, pem) = parts(&shown, &text)?;
        let no_key = |_| no_key(&shown, "private", "`plumeline key new` makes one");
        let (label, der) = SecretDocument::from_pem(pem).map_err(|e| no_key(e.into()))?;
        let key = if label == EncryptedPrivateKeyInfoRef::PEM_LABEL {
            KeypairBytes::from_pkcs8_encrypted_der(der.as_bytes(), passphrase()?.as_bytes()).map_err(|_| {
                let cause = "the passphrase does not open this key";
                Problem::with_file(Kind::Denied, &shown, cause, "try again; without it nobody can use the key")
            })?
        } else {
            KeypairBytes::from_pkcs8_der(der.as_bytes()).map_err(no_key)?
        };
        Ok(Self { key: ed25519_dalek::SigningKey::from_bytes(&key.secret_key), name })
    }
}
impl fmt::Debug for SigningKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "SigningKey({}, {:?})", self.name, self.public())
    }
}

impl NamedKey {
    /// The text of a public key file.
    ///
    /// # Errors
    /// [`Kind::Internal`] if the key has no such form.
    pub fn to_text(&self) -> Result<String, Problem> {
        let pem = self.key.0.to_public_key_pem(LineEnding::LF).map_err(|e| internal(Path::new("key"), &e.into()))?;
        let print = self.key.fingerprint();
        Ok(format!("plumeline public key\nname: {}\nfingerprint: {print}\n\n{pem}", self.name))
    }
    /// Writes it to a new file.
    ///
    /// # Errors
    /// [`Kind::Exists`] if there is such a file; what the system reports.
    pub fn write(&self, path: &Path) -> Result<(), Problem> {
        let text = self.to_text()?;
        let file = fs::OpenOptions::new().write(true).create_new(true).open(path);
        file.and_then(|mut file| file.write_all(text.as_bytes())).map_err(|e| not_written(path, &e))
    }
    /// Reads a public key file.
    ///
    /// # Errors
    /// [`Kind::Syntax`] if it holds no such key; what the system reports.
    pub fn read(path: &Path) -> Result<Self, Problem> {
        let shown = path.display().to_string();
        let (_, text) = read_text(path)?;
        let (name, pem) = parts(&shown, &text)?;
        let key = VerifyingKey::from_public_key_pem(pem).ok().filter(|key| !key.is_weak());
        let key = key.ok_or_else(|| no_key(&shown, "public", "`plumeline key show` writes it from the private key"))?;
        Ok(Self { key: PublicKey(key), name })
    }
    /// Where the public half of a private key file is written: beside it, with `.pub` added.
    pub fn beside(private: &Path) -> PathBuf {
        let mut name = private.file_name().unwrap_or_default().to_os_string();
        name.push(".pub");
        private.with_file_name(name)
    }
}

impl PublicKey {
    /// The key of these 32 bytes, if they are one and not one of the few under which anything verifies.
    pub fn from_bytes(bytes: &[u8; 32]) -> Option<Self> {
        VerifyingKey::from_bytes(bytes).ok().filter(|key| !key.is_weak()).map(Self)
    }
    /// Did this key sign these bytes? By the strict rules: one signature has one form.
    pub fn verifies(&self, bytes: &[u8], signature: &Signature) -> bool {
        self.0.verify_strict(bytes, &ed25519_dalek::Signature::from_bytes(&signature.0)).is_ok()
    }
    /// For people to compare: the first 128 bits of the SHA-256 of the key's 32 bytes, in groups of four digits.
    pub fn fingerprint(&self) -> String {
        let digits = Digest::of(self.0.as_bytes()).to_string();
        let groups: Vec<&str> = (0..8).filter_map(|i| digits.get(4 * i..4 * i + 4)).collect();
        groups.join(" ")
    }
    /// Is it the one that everybody has?
    pub fn is_demonstration(&self) -> bool {
        *self == SigningKey::demonstration().public()
    }
}
impl fmt::Debug for PublicKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "PublicKey({})", encode_string(self.0.as_bytes()))
    }
}
impl Serialize for PublicKey {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(&encode_string(self.0.as_bytes()))
    }
}
impl<'de> Deserialize<'de> for PublicKey {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let mut bytes = [0; 32];
        let hex = std::borrow::Cow::<str>::deserialize(d)?;
        let key = decode_hex_into(&hex, &mut bytes).then(|| Self::from_bytes(&bytes)).flatten();
        key.ok_or_else(|| D::Error::custom("not an Ed25519 public key of 64 lower-case hexadecimal digits"))
    }
}

impl Signature {
    /// The signature written as 128 hexadecimal digits, if it is one.
    pub fn parse(hex: &str) -> Option<Self> {
        let mut bytes = [0; 64];
        decode_hex_into(hex, &mut bytes).then_some(Self(bytes))
    }
}
impl fmt::Display for Signature {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&encode_string(&self.0))
    }
}

fn read_text(path: &Path) -> Result<(fs::File, Zeroizing<String>), Problem> {
    let told = |e: io::Error| match e.kind() {
        io::ErrorKind::NotFound => {
            let remedy = "check the path; `plumeline key new` makes a key";
            Problem::with_file(Kind::Absent, &path.display().to_string(), "there is no such key file", remedy)
        }
        _ => Problem::from_io(path, "read the key", &e),
    };
    if !fs::metadata(path).map_err(told)?.is_file() {
        return Err(no_key(&path.display().to_string(), "", "name the key's file"));
    }
    let file = fs::File::open(path).map_err(told)?;
    let mut text = Zeroizing::new(String::new());
    match (&file).take(FILE_LIMIT).read_to_string(&mut text) {
        Ok(_) => Ok((file, text)),
        Err(e) if e.kind() == io::ErrorKind::InvalidData => {
            Err(no_key(&path.display().to_string(), "", "name a key file in PEM form"))
        }
        Err(e) => Err(told(e)),
    }
}

/// The name and the PEM block of a key file.
fn parts<'a>(shown: &str, text: &'a str) -> Result<(String, &'a str), Problem> {
    let (words, _) = text.split_once("-----BEGIN ").ok_or_else(|| no_key(shown, "", "name a key file in PEM form"))?;
    let name = words.lines().find_map(|line| line.strip_prefix("name:")).unwrap_or("no name given");
    Ok((checked_name(name)?, &text[words.len()..]))
}

fn checked_name(name: &str) -> Result<String, Problem> {
    let name = name.trim();
    if !name.is_empty() && name.chars().count() <= NAME_LIMIT && !name.chars().any(char::is_control) {
        return Ok(name.to_owned());
    }
    let cause = format!("{} can't be the name of whoever signs", quoted(name));
    Err(Problem::with_file(
        Kind::Range,
        "key",
        cause,
        format!("give a name of 1 to {NAME_LIMIT} characters on one line"),
    ))
}

fn no_key(shown: &str, which: &str, remedy: &str) -> Problem {
    let which = if which.is_empty() { String::new() } else { format!("{which} ") };
    Problem::with_file(Kind::Syntax, shown, format!("this holds no Ed25519 {which}key"), remedy)
}

fn not_written(path: &Path, e: &io::Error) -> Problem {
    if e.kind() == io::ErrorKind::AlreadyExists {
        let remedy = "keys are never overwritten: choose another name with `--out`";
        return Problem::with_file(Kind::Exists, &path.display().to_string(), "it is there already", remedy);
    }
    Problem::from_io(path, "write the key", e)
}

fn internal(path: &Path, e: &pkcs8::Error) -> Problem {
    let cause = format!("the key has no such form: {e}");
    Problem::with_file(Kind::Internal, &path.display().to_string(), cause, "report this")
}
