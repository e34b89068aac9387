# The same rows through R's survival package: FOLDER ROWS SMALL CONTINUOUS. Prints "name seconds" (of the processor) and "name= values".
library(survival)
arguments <- commandArgs(TRUE)
table <- function(rows, kind) read.csv(file.path(arguments[1], sprintf("rows_%s_%s.csv", rows, kind)))
report <- function(name, times, f) {
  seconds <- numeric(0)
  for (i in seq_len(times)) {
    gc(FALSE)
    began <- sum(proc.time()[1:2])
    value <- f()
    seconds <- c(seconds, sum(proc.time()[1:2]) - began)
  }
  cat(sprintf("%s %.6f\n", name, median(seconds)))
  invisible(value)
}
values <- function(name, v) cat(sprintf("%s= %s\n", name, paste(format(v, digits = 15, trim = TRUE), collapse = " ")))
model <- Surv(start, stop, event) ~ x1 + x2 + x3 + x4 + x5 + cluster(tank)

rows <- table(arguments[2], "whole")
fit <- report("cox", 1, function() coxph(model, rows))
values("cox", c(coef(fit), sqrt(diag(vcov(fit)))))
x <- as.matrix(rows[, c("x1", "x2", "x3", "x4", "x5")])
y <- Surv(rows$start, rows$stop, rows$event)
report("cox_core", 3, function()
  survival:::agreg.fit(x, y, NULL, NULL, NULL, coxph.control(), NULL, "efron", NULL, resid = FALSE))
curve <- report("kaplan_meier", 3, function() survfit(Surv(start, stop, event) ~ 1, rows))
values("kaplan_meier", curve$surv[length(curve$surv)])
report("log_rank", 1, function() coxph(Surv(start, stop, event) ~ factor(band), rows, iter.max = 0)$score)
test <- report("log_rank_right_censored", 3, function() survdiff(Surv(stop - start, event) ~ band, rows))
values("log_rank_right_censored", test$chisq)
rm(rows, x, y, curve)

small <- table(arguments[3], "whole")
report("cox_small", 9, function() coxph(model, small))

rows <- table(arguments[4], "continuous")
fit <- report("cox_continuous", 1, function() coxph(model, rows))
values("cox_continuous", c(coef(fit), sqrt(diag(vcov(fit)))))
