"""All of a season on paper: plan, picture, what to do by date, feed, power cut, shopping, care."""
