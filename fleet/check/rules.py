"""The rules: what must hold between the parts of an inventory. One module per subject.

A rule is a function from the survey to findings. It looks at whatever could be read, and says nothing about
what another finding already speaks of: `survey.missing` is false while a file or a part could not be read.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fleet.check.blocks import one_fleet, policy_fits
from fleet.check.clear_button import buttons_fit
from fleet.check.colors import colors_fit
from fleet.check.electrodes import electrodes_fit
from fleet.check.fitted import fitted_fits
from fleet.check.groups import groups_protect
from fleet.check.marks import marks_fit
from fleet.check.networks import networks_fit
from fleet.check.pins import pins_fit
from fleet.check.probes import probes_fit
from fleet.check.pumps import pumps_fit
from fleet.check.references import references_resolve, supply_groups_shared
from fleet.check.relays import relays_release
from fleet.check.served import served_once
from fleet.check.shapes import shapes_fit
from fleet.check.sites import sites_fit
from fleet.check.staging import staging_fits
from fleet.check.timing import debounce_fits
from fleet.check.unique import macs_once, names_once
from fleet.check.water import water_fits
from fleet.check.wiring import wiring_fits

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from fleet.finding import Finding
    from fleet.inventory.parsed import Parsed

RULES: Final[tuple[Callable[[Parsed], Iterator[Finding]], ...]] = (
    one_fleet,
    policy_fits,
    names_once,
    macs_once,
    references_resolve,
    supply_groups_shared,
    groups_protect,
    staging_fits,
    fitted_fits,
    sites_fit,
    networks_fit,
    shapes_fit,
    marks_fit,
    pumps_fit,
    served_once,
    probes_fit,
    pins_fit,
    debounce_fits,
    buttons_fit,
    wiring_fits,
    colors_fit,
    relays_release,
    electrodes_fit,
    water_fits,
)
