# The same records, episodes, curves and model in R: package survival. Prints seconds by stage, and the figures.
library(survival)
args <- commandArgs(trailingOnly = TRUE)
clock <- function() proc.time()[["elapsed"]]
began <- clock()
readings <- read.csv(args[1], colClasses = c("integer", "character", "integer", "numeric"))
specimens <- read.csv(args[2], colClasses = c("integer", "integer", "integer", "integer", "integer"))
read <- clock()

# A test speaks from 14 days after its day until 14 days after the next, at most 35 days; before and after: unknown.
lag <- 14L
carry <- 35L
tests <- readings[readings$parameter == "nitrate", ]
tests <- tests[order(tests$tank, tests$day), ]
n <- nrow(tests)
last <- c(tests$tank[-1] != tests$tank[-n], TRUE)
following <- c(tests$day[-1], NA)
following[last] <- NA
from <- tests$day + lag
to <- pmin(from + carry, following + lag, na.rm = TRUE)
level <- ifelse(tests$value < 5, "below", ifelse(tests$value > 15, "above", "within"))
known <- data.frame(tank = tests$tank, from = from, to = to, level = level)
# What no test speaks for.
gap <- which(!last & following + lag > to)
never <- .Machine$integer.max %/% 2L
firsts <- which(c(TRUE, last[-n]))
unknown <- data.frame(
  tank = c(tests$tank[gap], tests$tank[firsts], tests$tank[last]),
  from = c(to[gap], rep(-never, length(firsts)), to[last]),
  to = c(following[gap] + lag, from[firsts], rep(never, sum(last))),
  level = "unknown"
)
spans <- rbind(known, unknown)
specimens$id <- seq_len(nrow(specimens))
rows <- merge(specimens, spans, by = "tank")
rows$start <- pmax(rows$from, rows$acquired) - rows$acquired
rows$stop <- pmin(rows$to, rows$ended) - rows$acquired
rows <- rows[rows$start < rows$stop, ]
rows$event <- rows$died == 1 & rows$acquired + rows$stop == rows$ended
rows$level <- factor(rows$level, levels = c("within", "above", "below", "unknown"))
episodes <- clock()

curves <- survfit(Surv(start, stop, event) ~ level, data = rows, id = id, conf.type = "log-log")
fitted <- clock()
model <- coxph(Surv(start, stop, event) ~ level, data = rows, cluster = keeper, ties = "efron")
done <- clock()

cat("total", done - began, "\n")
cat("read", read - began, "\n")
cat("episodes", episodes - read, "\n")
cat("curves", fitted - episodes, "\n")
cat("cox", done - fitted, "\n")
for (name in names(coef(model))) cat(paste0("coef.", sub("level", "", name)), format(coef(model)[[name]], digits = 15), "\n")
for (name in levels(rows$level)) {
  of <- rows$level == name
  cat(paste0("deaths.", name), sum(rows$event[of]), "\n")
  cat(paste0("days.", name), format(sum(rows$stop[of] - rows$start[of]), scientific = FALSE), "\n")
}
