from django.apps import AppConfig


class WatchConfig(AppConfig):
    name = "servicedesk.watch"
