//! `strandline import --server URL`: the same import through a running server.

use importer::finding::Finding;
use importer::saved_layout::SavedLayout;
use serde_json::Value;

use super::bulk::{self, Club, HandedIn, Read};
use super::table::Done;
use super::{ImportArgs, Item};
use crate::client::{Client, ClientError, NewFile};
use crate::command::failure::Failure;
use crate::command::read;

struct Remote<'a> {
    client: Client,
    args: &'a ImportArgs,
    layout: Option<SavedLayout>,
    /// A keeper's token opens that keeper's records only and may not name one.
    names_keepers: bool,
}

/// Sends the files and follows each to its end.
pub fn run(server: &str, token: Option<&str>, args: &ImportArgs, items: &[Item]) -> Result<Vec<Done>, Failure> {
    let token = token
        .ok_or_else(|| Failure::usage("no token, STRANDLINE_TOKEN: set it to a token with the right to upload"))?;
    let client = Client::new(server, Some(token)).map_err(|error| failure(&error))?;
    // A token or server that does not do for one file does not do for any.
    let names_keepers = client.me().map_err(|error| failure(&error))?.role == "curator";
    let remote = Remote { client, args, layout: read::layout(args.layout.as_ref())?, names_keepers };
    Ok(bulk::run(&remote, items, args.yes, args.save_layout.as_deref()))
}

/// What a person is told.
fn failure(error: &ClientError) -> Failure {
    Failure::place(match error {
        ClientError::Refused { server, refusal } if matches!(refusal.status, 401 | 403) => {
            format!("the token is not accepted ({}), {server}: make one with `strandline token new`", refusal.detail)
        }
        ClientError::Refused { .. } => format!("{error}: correct this and send again"),
        _ => error.to_string(),
    })
}

impl Remote<'_> {
    /// Waits until it is read, and takes the proposals of accepted findings.
    fn read(&self, id: i64) -> Result<Read, Failure> {
        let settled = || -> Result<_, ClientError> { Ok((self.client.settled(id)?, self.client.findings(id)?)) };
        let (mut upload, mut findings) = settled().map_err(|error| failure(&error))?;
        loop {
            let answers: Vec<_> = findings
                .iter()
                .filter(|finding| self.args.accept.contains(&finding.code))
                .filter_map(|finding| finding.proposed.clone())
                .collect();
            if answers.is_empty() {
                return Ok(Read {
                    upload: id,
                    failed: upload.state == "failed",
                    lists_corals: upload.records.get("specimen").is_some_and(|count| *count > 0),
                    findings,
                });
            }
            self.client.answer(id, &answers).map_err(|error| failure(&error))?;
            (upload, findings) = settled().map_err(|error| failure(&error))?;
        }
    }

    fn send_file(&self, item: &Item) -> Result<(i64, bool), Failure> {
        let bytes = read::bytes_of(&item.path)?;
        if let Some(layout) = &self.layout {
            layout.fits(&item.name, &bytes).map_err(|error| read::other_shape(&error, &item.path))?;
        }
        let file = NewFile {
            name: &item.name,
            keeper: Some(item.keeper.as_str()).filter(|_| self.names_keepers),
            tank: self.args.tank.as_deref(),
            log: self.args.log.as_deref(),
            as_of: self.args.as_of,
            layout: self.layout.as_ref().map(SavedLayout::document),
        };
        let sent = self.client.upload(&file, bytes, None).map_err(|error| failure(&error))?;
        // What an import that was cut off left behind is taken up; what is loaded is not loaded again.
        Ok((sent.upload.id, matches!(sent.upload.state.as_str(), "committing" | "committed")))
    }
}

impl Club for Remote<'_> {
    fn hand_in(&self, item: &Item) -> Result<HandedIn, Failure> {
        let (id, loaded) = self.send_file(item).map_err(|why| why.about(&item.shown))?;
        if loaded {
            return Ok(HandedIn::Unchanged(id));
        }
        self.read(id).map(HandedIn::Read)
    }

    /// The contract has no way to read an upload anew; it is put aside and sent again.
    fn read_again(&self, item: &Item, upload: i64) -> Result<Read, Failure> {
        self.put_aside(item, upload)?;
        let (id, _) = self.send_file(item).map_err(|why| why.about(&item.shown))?;
        self.read(id)
    }

    fn commit(&self, item: &Item, upload: i64, leave_open: bool) -> Result<Option<u64>, Failure> {
        match self.client.commit(upload, leave_open) {
            // Doubts turned up since it was read.
            Err(ClientError::Refused { refusal, .. }) if refusal.status == 409 && !leave_open => return Ok(None),
            Err(error) => return Err(failure(&error).about(&item.shown)),
            Ok(_) => {}
        }
        let upload = self.client.settled(upload).map_err(|error| failure(&error))?;
        if upload.state == "questions" && !leave_open {
            return Ok(None);
        }
        if upload.state != "committed" {
            return Err(Failure::place(format!(
                "the commit did not end ({}), {}: see upload {} there",
                upload.state,
                self.client.server(),
                upload.id
            )));
        }
        Ok(Some(upload.records.values().filter_map(|count| u64::try_from(*count).ok()).sum()))
    }

    fn findings(&self, _item: &Item, upload: i64) -> Result<Vec<Finding>, Failure> {
        self.client.findings(upload).map_err(|error| failure(&error))
    }

    fn put_aside(&self, _item: &Item, upload: i64) -> Result<(), Failure> {
        self.client.take_back(upload).map(drop).map_err(|error| failure(&error))
    }

    fn layout(&self, item: &Item, upload: i64) -> Result<Value, Failure> {
        self.client.layout(upload).map_err(|error| failure(&error).about(&item.shown))
    }
}
