from django.db import migrations, models


def ask_again(apps, editor):
    """The stored answers do not say it yet: none of them is of the law held any more, so that each is asked again."""
    apps.get_model("portfolio", "StoredStanding").objects.update(law="")


class Migration(migrations.Migration):
    dependencies = [("portfolio", "0005_four_nations")]

    operations = [
        migrations.AddField(
            model_name="storedstanding",
            name="danger",
            field=models.BooleanField(
                default=False, verbose_name="a danger is on record that no defect speaks of"
            ),
        ),
        migrations.AddIndex(
            model_name="storedstanding",
            index=models.Index(condition=models.Q(danger=True), fields=["unit"], name="standing_danger"),
        ),
        migrations.RunPython(ask_again, migrations.RunPython.noop),
    ]
