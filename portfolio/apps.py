from django.apps import AppConfig


class PortfolioConfig(AppConfig):
    name = "portfolio"

    def ready(self) -> None:
        """Make shared tasks belong to our Celery application, whichever process sends them; add our checks."""
        from portfolio import celery, checks  # noqa: F401
