DROP TABLE newsletter_issue;
