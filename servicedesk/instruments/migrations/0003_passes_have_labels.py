"""A pass says what it is for."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [("instruments", "0002_facts_added_only")]

    operations = [
        migrations.AddField(
            model_name="token",
            name="label",
            field=models.CharField(blank=True, default="", max_length=60),
        ),
    ]
