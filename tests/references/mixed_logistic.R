# The classical figures of three mixed logistic tables, one line each: coefficients, then spreads.
# Laplace's approximation throughout but where 25 adaptive nodes are named.
# Run with: Rscript mixed_logistic.R FOLDER-OF-THE-TABLES
suppressMessages({library(lme4); library(glmmTMB)})
folder <- commandArgs(TRUE)[1]
read <- function(name) read.csv(file.path(folder, name))
told <- function(name, fitted, fixed, spreads) {
  values <- c(fixed, sapply(spreads, function(s) sqrt(s[1, 1])), as.numeric(logLik(fitted)))
  cat(name, format(unname(values), digits = 8, trim = TRUE), sep = "\t"); cat("\n")
}
lme <- function(name, fitted) told(name, fitted, fixef(fitted), VarCorr(fitted))
tmb <- function(name, fitted) told(name, fitted, fixef(fitted)$cond, VarCorr(fitted)$cond)

rows <- transform(read("salamander.csv"), female = factor(female), male = factor(male))
crossed <- mate ~ 0 + cross_fm + (1 | female) + (1 | male)
lme("salamander lme4", glmer(crossed, rows, binomial))
tmb("salamander glmmTMB", glmmTMB(crossed, rows, family = binomial))

rows <- transform(read("lme4_cbpp.csv"), period = factor(period), herd = factor(herd))
grouped <- cbind(incidence, size - incidence) ~ period + (1 | herd)
lme("herds lme4", glmer(grouped, rows, binomial))
lme("herds lme4 25 nodes", glmer(grouped, rows, binomial, nAGQ = 25))
tmb("herds glmmTMB", glmmTMB(grouped, rows, family = binomial))

rows <- transform(read("mlmRev_Contraception.csv"), used = as.integer(use == "Y"))
women <- used ~ urban + age + livch + (1 | district)
lme("women lme4 25 nodes", glmer(women, rows, binomial, nAGQ = 25))
