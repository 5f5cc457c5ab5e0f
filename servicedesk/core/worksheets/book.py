"""All worksheets, in the order in which a tank's page offers them."""

from servicedesk.core.worksheets import Worksheet
from servicedesk.core.worksheets.keeping import SHEET as LEVEL
from servicedesk.core.worksheets.raising import CHANGE, CORRECT, SEVERAL
from servicedesk.core.worksheets.sound import NOISE
from servicedesk.core.worksheets.testing import BATCH, RIGHT, STANDARD
from servicedesk.core.worksheets.volume import SHEET as VOLUME
from servicedesk.core.worksheets.waters import AMMONIA, CARBONATE, CHLORINE, PLANTED, SALINITY

WORKSHEETS: dict[str, Worksheet] = {
    sheet.key: sheet
    for sheet in (
        *(CORRECT, CHANGE, SEVERAL, LEVEL),
        *(RIGHT, STANDARD, BATCH),
        *(VOLUME, AMMONIA, CARBONATE, PLANTED, SALINITY, CHLORINE, NOISE),
    )
}
