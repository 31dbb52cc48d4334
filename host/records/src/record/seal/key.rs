//! The shop's key: ed25519 (RFC 8032) in a PKCS#8 PEM file (RFC 5958, RFC 8410) that its owner alone may read. Made at first use.

use super::{from_hex, hex};
use ed25519_dalek::pkcs8::spki::der::pem::LineEnding;
use ed25519_dalek::pkcs8::{DecodePrivateKey, DecodePublicKey, EncodePrivateKey, EncodePublicKey};
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Why a key can't be used.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// The file can't be read or written.
    #[error("the key {path}: {cause}; mend that, or name another file with --key FILE", path = .path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// The system's message.
        cause: io::Error,
    },
    /// Others may read it.
    #[error(
        "the key {path} can be read by others (mode {mode:03o}, 600 is allowed): run chmod 600 on it, and think about whether they did",
        path = .path.display()
    )]
    Exposed {
        /// The file.
        path: PathBuf,
        /// Its permission bits.
        mode: u32,
    },
    /// Not a key.
    #[error("{path} holds no {wanted}; give the file that `trackpair key export` wrote", path = .path.display())]
    NoKey {
        /// The file.
        path: PathBuf,
        /// What was looked for.
        wanted: &'static str,
    },
    /// A file is there already.
    #[error("{path} is there already and is never overwritten; name another file", path = .path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The system gives no random bytes.
    #[error("the system gives no random bytes for a new key: {0}")]
    Random(getrandom::Error),
}

/// The shop's key, which signs.
#[derive(Debug)]
pub struct ShopKey {
    key: SigningKey,
}

/// What a signature is checked with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PublicKey {
    key: VerifyingKey,
}

impl ShopKey {
    /// Makes a key from 32 bytes, which must be random and secret.
    pub fn from_seed(seed: &[u8; 32]) -> Self {
        Self { key: SigningKey::from_bytes(seed) }
    }

    /// A new key.
    ///
    /// # Errors
    /// [`KeyError::Random`].
    pub fn random() -> Result<Self, KeyError> {
        let mut seed = [0; 32];
        getrandom::fill(&mut seed).map_err(KeyError::Random)?;
        Ok(Self::from_seed(&seed))
    }

    /// Reads a key file.
    ///
    /// # Errors
    /// It can't be read, others may read it too, or it holds no private key.
    pub fn load(path: &Path) -> Result<Self, KeyError> {
        let text = fs::read_to_string(path).map_err(|cause| file_error(path, cause))?;
        check_mode(path)?;
        let key = SigningKey::from_pkcs8_pem(text.trim())
            .map_err(|_| KeyError::NoKey { path: path.to_path_buf(), wanted: "private key (PKCS#8 PEM)" })?;
        Ok(Self { key })
    }

    /// Reads a key file, or makes one where there is none; whether it was made now. Of two programs that make it at once, one does,
    /// and both use that one.
    ///
    /// # Errors
    /// As [`ShopKey::load`], and when it can't be written.
    pub fn load_or_make(path: &Path) -> Result<(Self, bool), KeyError> {
        if path.exists() {
            return Ok((Self::load(path)?, false));
        }
        let key = Self::random()?;
        match key.save(path) {
            Ok(()) => Ok((key, true)),
            Err(KeyError::Exists { .. }) => Ok((Self::load(path)?, false)),
            Err(error) => Err(error),
        }
    }

    /// Writes it to a file that its owner alone may read; folders are made.
    ///
    /// # Errors
    /// The file is there already or can't be written.
    pub fn save(&self, path: &Path) -> Result<(), KeyError> {
        let failed = |cause| file_error(path, cause);
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        fs::create_dir_all(folder).map_err(failed)?;
        let pem =
            self.key.to_pkcs8_pem(LineEnding::LF).map_err(|e| failed(io::Error::other(e.to_string())))?;
        // Written whole beside its place, then linked there: nobody sees half a key, and none is overwritten.
        let part = folder.join(format!(".key-{}.part", std::process::id()));
        let written = private_file(&part)
            .and_then(|mut file| file.write_all(pem.as_bytes()).and_then(|()| file.sync_all()))
            .and_then(|()| fs::hard_link(&part, path));
        let _ = fs::remove_file(&part);
        match written {
            Err(cause) if cause.kind() == io::ErrorKind::AlreadyExists => {
                Err(KeyError::Exists { path: path.to_path_buf() })
            }
            written => written.map_err(failed),
        }
    }

    /// What others check its signatures with.
    pub fn public(&self) -> PublicKey {
        PublicKey { key: self.key.verifying_key() }
    }

    /// Signs bytes for a purpose: a signature for one purpose is none for another.
    pub fn sign(&self, purpose: &str, bytes: &[u8]) -> [u8; 64] {
        self.key.sign(&message(purpose, bytes)).to_bytes()
    }
}

impl PublicKey {
    /// From its 32 bytes.
    pub fn from_bytes(bytes: &[u8; 32]) -> Option<Self> {
        Some(Self { key: VerifyingKey::from_bytes(bytes).ok()? })
    }

    /// From 64 hex digits.
    pub fn from_hex(text: &str) -> Option<Self> {
        Self::from_bytes(&from_hex(text)?)
    }

    /// From what a user names: 64 hex digits, a PEM file with the public key, or the shop's own key file.
    ///
    /// # Errors
    /// It can't be read or holds no key.
    pub fn load(given: &str) -> Result<Self, KeyError> {
        if let Some(key) = Self::from_hex(given) {
            return Ok(key);
        }
        let path = Path::new(given);
        let text = fs::read_to_string(path).map_err(|cause| file_error(path, cause))?;
        let text = text.trim();
        let private = || SigningKey::from_pkcs8_pem(text).ok().map(|key| key.verifying_key());
        let key = VerifyingKey::from_public_key_pem(text)
            .ok()
            .or_else(private)
            .or_else(|| Self::from_hex(text).map(|k| k.key));
        key.map(|key| Self { key }).ok_or_else(|| KeyError::NoKey {
            path: path.to_path_buf(),
            wanted: "public key (PEM or 64 hex digits)",
        })
    }

    /// Its 32 bytes.
    pub fn to_bytes(self) -> [u8; 32] {
        self.key.to_bytes()
    }

    /// 64 hex digits.
    pub fn to_hex(self) -> String {
        hex(&self.to_bytes())
    }

    /// As PEM (SubjectPublicKeyInfo), which other programs read.
    pub fn to_pem(self) -> String {
        self.key.to_public_key_pem(LineEnding::LF).unwrap_or_default()
    }

    /// Whether a signature for a purpose is this key's. Signatures that were bent without the key are refused (strict check).
    pub fn verifies(self, purpose: &str, bytes: &[u8], signature: &[u8; 64]) -> bool {
        self.key.verify_strict(&message(purpose, bytes), &Signature::from_bytes(signature)).is_ok()
    }
}

/// What is signed: the purpose, a line end, the bytes.
fn message(purpose: &str, bytes: &[u8]) -> Vec<u8> {
    [purpose.as_bytes(), b"\n", bytes].concat()
}

fn file_error(path: &Path, cause: io::Error) -> KeyError {
    KeyError::File { path: path.to_path_buf(), cause }
}

#[cfg(unix)]
fn private_file(path: &Path) -> io::Result<fs::File> {
    use std::os::unix::fs::OpenOptionsExt;
    fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(path)
}

#[cfg(not(unix))]
fn private_file(path: &Path) -> io::Result<fs::File> {
    fs::OpenOptions::new().write(true).create_new(true).open(path)
}

#[cfg(unix)]
fn check_mode(path: &Path) -> Result<(), KeyError> {
    use std::os::unix::fs::PermissionsExt;
    let mode = fs::metadata(path).map_err(|cause| file_error(path, cause))?.permissions().mode() & 0o777;
    if mode & 0o077 == 0 { Ok(()) } else { Err(KeyError::Exposed { path: path.to_path_buf(), mode }) }
}

/// Elsewhere the user's own folder keeps others out.
#[cfg(not(unix))]
fn check_mode(_: &Path) -> Result<(), KeyError> {
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ed25519_signs_as_published() {
        // RFC 8032, 7.1, TEST 2 (one byte, 0x72); the purpose is not part of it, so the library is asked for the bare message.
        let seed =
            from_hex::<32>("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb").unwrap();
        let key = ShopKey::from_seed(&seed);
        assert_eq!(key.public().to_hex(), "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c");
        assert_eq!(
            hex(&key.key.sign(&[0x72]).to_bytes()),
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da\
             085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
        );
    }

    #[test]
    fn a_signature_holds_for_its_bytes_its_purpose_and_its_key_alone() {
        let (key, other) = (ShopKey::from_seed(&[1; 32]), ShopKey::from_seed(&[2; 32]));
        let signature = key.sign("a", b"bytes");
        assert!(key.public().verifies("a", b"bytes", &signature));
        assert!(!key.public().verifies("b", b"bytes", &signature));
        assert!(!key.public().verifies("a", b"byteS", &signature));
        assert!(!other.public().verifies("a", b"bytes", &signature));
    }

    #[test]
    fn a_key_is_made_once_kept_private_and_read_back() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("deep/shop.key");
        let (made, new) = ShopKey::load_or_make(&path).unwrap();
        assert!(new);
        let (read, new) = ShopKey::load_or_make(&path).unwrap();
        assert!(!new && read.public() == made.public());
        assert_eq!(PublicKey::load(path.to_str().unwrap()).unwrap(), made.public());
        assert!(matches!(ShopKey::random().unwrap().save(&path), Err(KeyError::Exists { .. })));
        assert_eq!(fs::read_dir(path.parent().unwrap()).unwrap().count(), 1, "nothing half-written is left");
        let public = dir.path().join("shop.pub");
        fs::write(&public, made.public().to_pem()).unwrap();
        assert_eq!(PublicKey::load(public.to_str().unwrap()).unwrap(), made.public());
        assert_eq!(PublicKey::load(&made.public().to_hex()).unwrap(), made.public());
    }

    #[cfg(unix)]
    #[test]
    fn a_key_that_others_can_read_is_refused() {
        use std::os::unix::fs::PermissionsExt;
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("shop.key");
        ShopKey::load_or_make(&path).unwrap();
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
        fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
        let error = ShopKey::load(&path).unwrap_err().to_string();
        assert!(error.contains("mode 640") && error.contains("chmod 600"), "{error}");
    }

    #[test]
    fn what_is_no_key_is_told() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("x");
        let error = PublicKey::load(path.to_str().unwrap()).unwrap_err().to_string();
        assert!(error.contains("--key"), "{error}");
        private_file(&path).unwrap().write_all(b"-----BEGIN NONSENSE-----").unwrap();
        assert!(matches!(ShopKey::load(&path), Err(KeyError::NoKey { .. })));
        assert!(matches!(PublicKey::load(path.to_str().unwrap()), Err(KeyError::NoKey { .. })));
    }
}
