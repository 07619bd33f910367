//! Devices: which keys sign for an account, and what to do when one is lost.

use actix_web::web::{Data, Json, Path};
use actix_web::{HttpResponse, delete, get};
use whorl_care::ids::DeviceId;
use whorl_contract::key::PublicKey;
use whorl_contract::page::Page;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_contract::session::Device;
use whorl_store::devices::{self, DeviceRow};
use whorl_store::sessions::{self, End};

use crate::caller::Caller;
use crate::problem::Problem;
use crate::state::State;

/// Lists the caller's devices, revoked ones too.
#[utoipa::path(
    tag = "accounts",
    responses(
        (status = 200, description = "The devices, the oldest first", body = Page<Device>),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/devices")]
pub(crate) async fn list_devices(
    state: Data<State>,
    caller: Caller,
) -> Result<Json<Page<Device>>, Problem> {
    let rows = state
        .read(move |db| devices::of_account(db, caller.account))
        .await?;
    let devices: Result<Vec<Device>, Problem> = rows.into_iter().map(view).collect();
    Ok(Json(Page::whole(devices?)))
}

/// Revokes a device: its session ends, and nothing that it signs is taken any more. This can't be undone.
#[utoipa::path(
    tag = "accounts",
    params(("id" = DeviceId, Path, description = "The device")),
    responses(
        (status = 204, description = "The device is revoked"),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[delete("/v1/devices/{id}")]
pub(crate) async fn revoke_device(
    state: Data<State>,
    caller: Caller,
    id: Path<DeviceId>,
) -> Result<HttpResponse, Problem> {
    let id = id.into_inner();
    let at = state.clock.now().naive_utc();
    state
        .write(move |db| -> Result<(), Problem> {
            devices::revoke(db, caller.account, id, at)?;
            let end = End {
                at,
                why: "device-revoked",
            };
            sessions::end_of_device(db, id, end)?;
            Ok(())
        })
        .await?;
    tracing::info!(target: "security", event = "device_revoked", account = %caller.account, device = %id);
    Ok(HttpResponse::NoContent().finish())
}

pub(super) fn view(row: DeviceRow) -> Result<Device, Problem> {
    Ok(Device {
        id: row.id,
        name: row.name,
        public_key: PublicKey::try_from(row.public_key.as_slice()).map_err(Problem::internal)?,
        created_at: row.created_at.and_utc(),
        revoked_at: row.revoked_at.map(|at| at.and_utc()),
    })
}
