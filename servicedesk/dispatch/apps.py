from django.apps import AppConfig


class DispatchConfig(AppConfig):
    name = "servicedesk.dispatch"

    def ready(self) -> None:
        """Hang up the bell: whoever asks for work, the web process too, can ring the queue."""
        from servicedesk.dispatch import jobs  # noqa: PLC0415, F401  models must be loaded before
