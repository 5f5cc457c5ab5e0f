from django.apps import AppConfig


class StaffConfig(AppConfig):
    name = "servicedesk.staff"

    def ready(self) -> None:
        """Daily work follows the zone of the business's own row."""
        from servicedesk.dispatch.actions import count_days_by  # noqa: PLC0415  models must be loaded before
        from servicedesk.staff.queries import business_zone  # noqa: PLC0415  the same

        count_days_by(business_zone)
