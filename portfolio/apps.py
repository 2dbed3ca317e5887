from django.apps import AppConfig


class PortfolioConfig(AppConfig):
    name = "portfolio"

    def ready(self) -> None:
        """Make shared tasks belong to this project's Celery application, whichever process sends them."""
        from portfolio import celery  # noqa: F401
