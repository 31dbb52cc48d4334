//! What the program gives to its commands: configuration, simulator, Ctrl-C, what the terminal can show.

use super::config::{Config, ConfigError};
use crate::job::{Failure, OpenSimulator, Workshop};
use crate::report::{Paper, Shop};
use anyhow::anyhow;
use etcetera::BaseStrategy;
use std::path::{Path, PathBuf};
use tokio_util::sync::CancellationToken;

/// What the program gives to its commands.
#[derive(Clone, Copy)]
pub struct Surroundings<'a> {
    /// Opens a simulated rig: what stands behind `sim:`.
    pub open_simulator: OpenSimulator<'a>,
    /// What environment and configuration file set, or why they can't be used.
    pub config: &'a Result<Config, ConfigError>,
    /// Set by Ctrl-C.
    pub stop: &'a CancellationToken,
    /// Whether stdout takes colour.
    pub colour: bool,
    /// Whether stderr is a terminal that a progress bar can be drawn on.
    pub progress: bool,
}

impl<'a> Surroundings<'a> {
    /// What is configured.
    ///
    /// # Errors
    /// [`Failure::Usage`] when it can't be used.
    pub fn config(&self) -> Result<&'a Config, Failure> {
        self.config.as_ref().map_err(|e| Failure::Usage(e.clone().into()))
    }

    /// The paper of reports; that of the configuration, where it can be used.
    pub fn paper(&self) -> Paper {
        self.config.as_ref().map(|config| config.paper.value).unwrap_or_default()
    }

    /// Where the shop's key lies: where the configuration says, or beside the configuration.
    ///
    /// # Errors
    /// The configuration can't be used, or the platform names no place.
    pub fn key_file(&self) -> Result<PathBuf, Failure> {
        let config = self.config()?;
        let beside = || config.path.as_deref().and_then(Path::parent).map(|folder| folder.join("shop.key"));
        config.key.value.clone().or_else(beside).ok_or_else(|| {
            Failure::Other(anyhow!(
                "this system names no place for settings; name the key's file in TRACKPAIR_KEY"
            ))
        })
    }

    /// The shop that hands reports over; none when nothing is configured, or it can't be used.
    pub fn shop(&self) -> Option<Shop> {
        self.config.as_ref().ok().and_then(|config| config.shop().ok()).flatten()
    }

    /// As [`Surroundings::key_file`], for who goes on without a key: why there is none, in words.
    pub fn key_file_or_why(&self) -> Result<PathBuf, String> {
        self.key_file().map_err(|why| format!("{:#}", why.error()))
    }

    /// Whose bench it is, for a job. What can't be used of the configuration was reported before, where the job needs it.
    pub fn workshop(&self) -> Workshop {
        Workshop {
            shop: self.shop(),
            paper: self.paper(),
            key_file: self.key_file_or_why(),
            lead_fitted: self.config.as_ref().ok().and_then(|config| config.lead_fitted.clone()),
            locks: locks(),
        }
    }
}

/// Where locks of rigs lie: in the user's folder for state; none where the system names no place.
pub fn locks() -> Option<PathBuf> {
    let base = etcetera::choose_base_strategy().ok()?;
    Some(base.state_dir().unwrap_or_else(|| base.data_dir()).join("trackpair").join("rigs"))
}
