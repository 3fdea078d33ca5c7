"""How many days of forecast a recommended program rests on; unknown for those computed before."""

from django.db import migrations, models


class Migration(migrations.Migration):
    """One column; nothing of what is stored changes."""

    dependencies = [("sites", "0006_rain_source")]

    operations = [
        migrations.AddField(
            model_name="recommendation",
            name="forecast_days",
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
    ]
