from django.apps import AppConfig


class DosingConfig(AppConfig):
    name = "servicedesk.dosing"
